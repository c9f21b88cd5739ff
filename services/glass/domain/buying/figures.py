"""What the glass of some elements costs, in its contract: steps, and why they are what they are."""

from __future__ import annotations

from collections.abc import Mapping

from services.glass.domain.blank.candidates import LeftOut, by_form
from services.glass.domain.blank.options import BlankOption
from services.glass.domain.buying.groups import REFERENCE_BLANKS, Crossover, Group, GroupLot, Parting
from services.glass.domain.buying.purchase import Purchase, least_purchase
from services.glass.domain.buying.sharing import Grinding, grinding_cost_per_mm3
from services.optics.law import column, decided, figure_of, given
from services.shop.minutes import minutes_cost
from services.shop.purchases import amount_figure, cost_figure
from services.shop.removal import generated_mm3_per_min
from shared_schemas.blanks import BlankForm, MaterialModel, MaterialStep
from shared_schemas.figure import Figure
from shared_schemas.rates import GlassRow, Rates

NAME_UP_TO = 60
"""Characters that the contract allows for the name of a model."""


def material_of(*, group: Group, form: BlankForm, glass: GlassRow, turns: Mapping[str, Crossover], rates: Rates) -> MaterialModel:
    """What the glass of some elements costs in one form, a step for each lot; `turns` tells where pressing overtakes cutting."""
    name = f"{form} glass of {', '.join(group.members)}"
    steps = tuple(_step(lot) for lot in group.lots)
    return MaterialModel(
        name=name if len(name) <= NAME_UP_TO else f"{form} {glass.name} of {len(group.members)} elements",
        form=form,
        glass=glass.name,
        members=group.members,
        steps=steps,
        basis=(
            cost_figure(lines=steps[0].purchases, rates=rates, name="cost_of_the_smallest_lot"),
            *(_crossover_figure(member, turns[member], rates) for member in group.members if member in turns),
        ),
        apart=tuple(material_of(group=own, form=form, glass=glass, turns={}, rates=rates) for own in group.apart),
    )


def _step(lot: GroupLot) -> MaterialStep:
    main = lot.main.source.stock
    return MaterialStep(
        blanks=lot.blanks,
        cost=lot.cost,
        pieces=lot.pieces,
        bought_mass_g=lot.bought_mass_g,
        lead_days=lot.lead_days,
        form=main.form,
        stock=main.name,
        purchases=tuple(purchase.line(part.members) for part in lot.parts for purchase in part.lot.purchases),
    )


def _crossover_figure(element: str, turn: Crossover, rates: Rates) -> Figure:
    return decided(
        "pressing_from_blanks",
        turn.blanks,
        f"the number from which on the cheapest pressing of {element} always costs less than the cheapest cut blank: both at this number",
        unit="blanks",
        alternatives=(
            _alone("pressed_amount", turn.pressed, turn.blanks, rates),
            _alone("cut_amount", turn.cut, turn.blanks, rates),
        ),
    )


def stock_figure(
    *, option: BlankOption, others: Mapping[str, BlankOption], blanks: int, shared_with: tuple[str, ...], rates: Rates
) -> Figure:
    """Why a blank comes out of its stock row: what so many blanks cost out of each row alone."""
    together = f", bought and sawn together with {', '.join(shared_with)}" if shared_with else ""
    return decided(
        "stock",
        option.stock.name,
        f"most of {blanks} blanks come out of it in the lot that costs least{together}; out of one row alone they cost this",
        alternatives=tuple(_alone("amount", way, blanks, rates) for way in (option, *others.values())),
        rate_row=Rates.ref("stock_forms", option.stock),
    )


def thicker_plate_figures(*, parting: Parting, grinding: Figure | None, money: str) -> tuple[Figure, ...]:
    """What a blank of every member costs with the plates that were chosen, and with plates of each element's own."""
    source = f"least lots for {parting.at_blanks} blanks of every member, and grinding away what more is left on them"
    costs = (
        given("cost_so", round(parting.cost_per_blank, 4), money, source=source),
        given("cost_with_own_plates", round(parting.cost_apart_per_blank, 4), money, source=source),
    )
    return costs if grinding is None else (*costs, grinding)


def grinding_figure(grinding: Grinding, *, diameter_mm: float) -> Figure:
    """What it costs to grind away a cubic millimetre off a blank of a diameter [mm]."""
    centre, row = Rates.ref("work_centres", grinding.centre), Rates.ref("grinding", grinding.row)
    minute = figure_of(
        minutes_cost,
        name="minute_cost",
        machine_min=given("machine_min", 1.0, "min", source="one minute of the machine"),
        attended_min=column("attended_share", grinding.centre.attended_share, "min", centre),
        machine_rate_per_h=column("machine_rate_per_h", float(grinding.centre.machine_rate_per_h), "", centre),
        labour_rate_per_h=column("labour_rate_per_h", float(grinding.centre.labour_rate_per_h), "", centre),
    )
    infeed, limit = grinding.row.infeed_mm_per_min, grinding.row.removal_limit_mm3_per_min
    if infeed is None or limit is None:
        removal = column("removal_mm3_per_min", grinding.removal_mm3_per_min(diameter_mm), "mm3/min", row)
    else:
        removal = figure_of(
            generated_mm3_per_min,
            name="removal_mm3_per_min",
            unit="mm3/min",
            infeed_mm_per_min=column("infeed_mm_per_min", infeed, "mm/min", row),
            blank_diameter_mm=given("blank_diameter_mm", diameter_mm, "mm", source="the blank"),
            removal_limit_mm3_per_min=column("removal_limit_mm3_per_min", limit, "mm3/min", row),
        )
    return figure_of(grinding_cost_per_mm3, unit="", minute_cost=minute, removal_mm3_per_min=removal)


def left_out_figure(*, left_out: LeftOut, options: Mapping[str, BlankOption], rates: Rates) -> Figure:
    """Why a form is no candidate: what blanks cost in it, and in the form that is always cheaper."""
    ways = by_form(options.values())
    amounts = [
        min((_alone(f"amount, {form}", way, REFERENCE_BLANKS, rates) for way in ways[form]), key=lambda figure: float(figure.value))
        for form in (left_out.form, left_out.beaten_by)
    ]
    return decided(
        "form_left_out",
        left_out.form,
        f"at every number of blanks it costs more than a {left_out.beaten_by}, by more than the work that it may save; {REFERENCE_BLANKS} "
        "blanks cost this",
        alternatives=amounts,
    )


def _alone(name: str, option: BlankOption, blanks: int, rates: Rates) -> Figure:
    """The exact amount of so many blanks out of one stock row."""
    purchase: Purchase = least_purchase(source=option.source, blanks=blanks)
    row = rates.stock_form(option.stock.name)
    figure = amount_figure(line=purchase.line((option.element.name,)), row=row, currency=rates.base_currency)
    return figure.model_copy(update={"name": name})
