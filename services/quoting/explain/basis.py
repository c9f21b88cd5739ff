"""The explanation of a quote: why each quantity costs and takes what it does, down to laws and rate rows.

A figure of a quantity is named by the way to it in its break, such as `lines 0 amount`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace
from decimal import Decimal

from services.optics.law import changed_figure, figure_of, given
from services.quoting.costs.money import per_piece, price_step, total
from services.quoting.explain.basis_of_cost import (
    bought_figures,
    markup_figures,
    material_needs,
    parts_figures,
    purchase_figures,
)
from services.quoting.explain.basis_of_date import lead_time_figures
from services.quoting.explain.basis_of_prototypes import prototype_figures
from services.quoting.explain.basis_of_risk import expedite_figures, risk_figures
from services.quoting.explain.basis_of_sooner import sooner_figures
from services.quoting.explain.basis_of_spares import BESIDE, beside_the_lenses, spare_figures
from services.quoting.explain.basis_of_split import deliveries_figure
from services.quoting.explain.basis_of_starts import start_figures
from services.quoting.explain.quantity import Quantity, parts_of
from services.quoting.pricing.evaluation import evaluate
from services.quoting.pricing.overridden.reached import CHARGES, COST, reached_margin, waived_charges
from services.quoting.pricing.overridden.setting import set_figure
from services.quoting.pricing.price import (
    cost_of,
    discounted_price,
    evening_of,
    evening_with_spares,
    missing_to,
    total_price_of,
    total_with_spares,
    unit_price_beside_spares,
    unit_price_of,
)
from services.quoting.pricing.price_list import evened_neighbours, evened_price, moved_from, moved_price
from services.quoting.pricing.quote import as_drawn, plans_for
from services.quoting.pricing.quoted_money import converted_figure
from shared_schemas.blanks import BlankPlan
from shared_schemas.figure import Figure
from shared_schemas.lead_times import LineKind
from shared_schemas.load import LoadSnapshot
from shared_schemas.operations import OperationPlan, Tooling
from shared_schemas.quote import ExplainedBreak, Explanation, middle_quantity
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job


def explain(
    *, job: Job, blanks: BlankPlan, operations: OperationPlan, rates: Rates, load: LoadSnapshot | None = None
) -> Explanation:  # fmt: skip
    """Why each quantity costs and takes what it does: the same work again, as stages are deterministic, with its reasons."""
    plans = plans_for(job, blanks, operations, rates, load)
    request = job.request
    evaluations = [evaluate(plans, quantity=number) for number in request.quantities]
    middle = evaluations[request.quantities.index(middle_quantity(request.quantities))]
    drawn = as_drawn(request.prescription, [*middle.made.ways], operations.alike)
    return Explanation(
        breaks=tuple(
            ExplainedBreak(
                quantity=evaluation.quantity,
                figures=basis_of(Quantity(evaluation, plans, place, parts_of(drawn, evaluation, middle, place))),
            )
            for place, evaluation in enumerate(evaluations)
        )
    )


def basis_of(quantity: Quantity) -> tuple[Figure, ...]:
    """The figures that explain one quantity: prices and lines, cost, starts, materials, days, risk, an expedite, other offers."""
    return (
        _unit_price(quantity),
        _total_price(quantity),
        *spare_figures(quantity),
        *prototype_figures(quantity),
        *_lines(quantity),
        converted_figure(
            figure_of(per_piece, name="cost_of_one", unit=quantity.base, amount=_cost(quantity), quantity=quantity.number),
            quantity.plans,
            name="unit_cost planned",
        ),
        *start_figures(quantity),
        *material_needs(quantity),
        *lead_time_figures(quantity),
        *risk_figures(quantity),
        *_margin_left(quantity),
        *expedite_figures(quantity),
        *sooner_figures(quantity),
    )


def _total_price(quantity: Quantity) -> Figure:
    unit_price = given("unit_price", quantity.evaluation.price.unit, quantity.currency, at=quantity.at("unit_price"))
    if not quantity.evaluation.beside:
        return figure_of(
            total_price_of, name="total_price", unit=quantity.currency, unit_price=unit_price, quantity=quantity.number
        )
    return figure_of(
        total_with_spares, name="total_price", unit=quantity.currency, unit_price=unit_price, quantity=quantity.number,
        spare_parts=given(
            "spare_parts", quantity.evaluation.price.beside, quantity.currency, source=BESIDE
        ),
    )  # fmt: skip


def _unit_price(quantity: Quantity) -> Figure:
    """The unit price: the one that is worked out, less a discount, or the one that an estimator set."""
    price, worked_out = quantity.evaluation.price, _worked_out(quantity)
    setting = quantity.setting("prices", quantity.evaluation.quantity, "unit_price")
    if setting is not None:
        return set_figure("unit_price", replace(setting, value=price.unit), worked_out=worked_out, unit=quantity.currency)
    discount = quantity.setting("prices", quantity.evaluation.quantity, "discount_share") or quantity.setting(
        "terms", "discount_share"
    )
    if discount is None:
        return worked_out
    share = replace(discount, value=quantity.plans.discount_at(quantity.evaluation.quantity))
    return figure_of(
        discounted_price,
        name="unit_price",
        unit=quantity.currency,
        worked_out=worked_out,
        discount_share=set_figure("discount_share", share, worked_out=None),
        step=_step(quantity),
    )


def _step(quantity: Quantity) -> Figure:
    """The step that unit prices come in."""
    return figure_of(
        price_step,
        name="step",
        unit=quantity.currency,
        rounding=quantity.term("rounding", quantity.plans.terms.rounding, quantity.currency),
        minor_units=quantity.minor_units(),
    )


def _worked_out(quantity: Quantity) -> Figure:
    """The unit price before a discount, out of the lines that come before the rounding."""
    kinds = [line.kind for line in quantity.evaluation.price.lines]
    lines = _lines_at(quantity, kinds.index("rounding"))
    if quantity.evaluation.beside:
        return figure_of(
            unit_price_beside_spares, name="unit_price", unit=quantity.currency, lines=lines,
            spare_parts=beside_the_lenses(quantity), quantity=quantity.number, step=_step(quantity),
        )  # fmt: skip
    return figure_of(
        unit_price_of,
        name="unit_price",
        unit=quantity.currency,
        lines=lines,
        quantity=quantity.number,
        step=_step(quantity),
    )


def _worked_out_total(quantity: Quantity) -> Figure:
    """The price of all of it before a discount."""
    unit_price = _worked_out(quantity)
    if not quantity.evaluation.beside:
        return figure_of(total_price_of, name="worked out", unit=quantity.currency, unit_price=unit_price, quantity=quantity.number)
    return figure_of(
        total_with_spares, name="worked out", unit=quantity.currency, unit_price=unit_price, quantity=quantity.number,
        spare_parts=beside_the_lenses(quantity),
    )  # fmt: skip


def _lines_at(quantity: Quantity, count: int) -> tuple[Figure, ...]:
    """The first lines of the price, each where it stands."""
    return tuple(
        given(line.kind, line.amount, quantity.currency, at=quantity.at("lines", number, "amount"))
        for number, line in enumerate(quantity.evaluation.price.lines[:count])
    )


def _lines(quantity: Quantity) -> Iterator[Figure]:
    """Each line of the price."""
    in_base = _amounts_in_base(quantity)
    for number, line in enumerate(quantity.evaluation.price.lines):
        name = f"lines {number} amount"
        if line.kind == "minimum_order":
            minimum = converted_figure(
                quantity.term("minimum_order", quantity.plans.terms.minimum_order, quantity.base), quantity.plans
            )
            yield figure_of(missing_to, name=name, unit=quantity.currency, whole=minimum, lines=_lines_at(quantity, number))
        elif line.kind == "evening":
            yield _evened(quantity, name, _lines_at(quantity, number))
        elif line.kind in ("rounding", "discount", "own_price"):
            whole = given("total_price", quantity.evaluation.price.total, quantity.currency, at=quantity.at("total_price"))
            if line.kind == "rounding" and number + 1 < len(quantity.evaluation.price.lines):
                whole = _worked_out_total(quantity)
            yield figure_of(missing_to, name=name, unit=quantity.currency, whole=whole, lines=_lines_at(quantity, number))
        else:
            yield converted_figure(in_base[line.kind], quantity.plans, name=name)


def _amounts_in_base(quantity: Quantity) -> Mapping[str, Figure]:
    """The lines that are converted, in the base currency."""
    tools = tuple(_charge(tool, quantity.base) for tool in quantity.evaluation.made.tooling)
    return {
        "material": figure_of(total, name="material", unit=quantity.base, amounts=purchase_figures(quantity)),
        "operations": figure_of(total, name="operations", unit=quantity.base, amounts=parts_figures(quantity)),
        "bought_parts": figure_of(total, name="bought_parts", unit=quantity.base, amounts=bought_figures(quantity)),
        "losses": _losses(quantity),
        "tooling": figure_of(total, name="tooling", unit=quantity.base, amounts=tools),
        **deliveries_figure(quantity),
        **markup_figures(quantity, _cost(quantity)),
    }


def _charge(tool: Tooling, base: str) -> Figure:
    """A charge for a tool, in the base currency; one that was set says so."""
    was_set = next((one for one in tool.basis if one.name == "charge" and one.reason and one.value == tool.charge), None)
    if was_set is not None:
        return changed_figure(was_set, name=tool.name)
    return given(tool.name, tool.charge, base, source="the operation plan, in the base currency")


def _losses(quantity: Quantity) -> Figure:
    """What losses cost in the mean beyond the pieces started."""
    return Figure(
        name="losses", value=quantity.evaluation.costs.losses, unit=quantity.base,
        source="of each element, the chance that its lot falls short times what a lot for the missing pieces costs; of groups and lenses, what is taken in hand in the mean beyond what is planned",
        inputs=tuple(
            given(part, start.losses_cost, quantity.base, source="expected cost of making good what is lost of it")
            for part, start in quantity.evaluation.starts.items()
        ),
    )  # fmt: skip


def _evened(quantity: Quantity, name: str, lines: tuple[Figure, ...]) -> Figure:
    """What brings the lines to the even price list, down to the two quantities of the series."""
    (lower, lower_price), (upper, upper_price) = evened_neighbours(quantity.plans.usual, quantity.evaluation.quantity)
    worked_out = (
        "price list: the unit price of that quantity worked out alone, no dearer than smaller ones, no total above that of the next"
    )
    unit = figure_of(
        evened_price, name="unit_price", unit=quantity.currency,
        lower=given("lower", lower, "pieces", source="the series of quantities of the price list"),
        upper=given("upper", upper, "pieces", source="the series of quantities of the price list"),
        lower_price=given("lower_price", lower_price, quantity.currency, source=worked_out),
        upper_price=given("upper_price", upper_price, quantity.currency, source=worked_out),
        quantity=quantity.number,
    )  # fmt: skip
    unit = _moved(quantity, unit)
    if quantity.evaluation.beside:
        return figure_of(
            evening_with_spares, name=name, unit=quantity.currency, unit_price=unit, quantity=quantity.number,
            spare_parts=beside_the_lenses(quantity), lines=lines, minor_units=quantity.minor_units(),
        )  # fmt: skip
    return figure_of(
        evening_of, name=name, unit=quantity.currency, unit_price=unit, quantity=quantity.number,
        lines=lines, minor_units=quantity.minor_units(),
    )  # fmt: skip


def _moved(quantity: Quantity, listed: Figure) -> Figure:
    """The unit price of the list for a quantity whose starts or margin were set; itself for any other."""
    set_here = quantity.plans.at.get(quantity.evaluation.quantity)
    if set_here is None or not set_here.moves_cost_or_margin:
        return listed
    usual, own = moved_from(quantity.plans, quantity.evaluation.quantity)
    return figure_of(
        moved_price,
        name="unit_price",
        unit=quantity.currency,
        listed=listed,
        usual_price=given(
            "usual_price", usual, quantity.currency, source="that quantity worked out alone, with nothing set for it"
        ),
        own_price=given("own_price", own, quantity.currency, source="that quantity worked out alone, with what was set for it"),
    )


def _margin_left(quantity: Quantity) -> Iterator[Figure]:
    """The margin that the price leaves, where an estimator set figures."""
    if not quantity.plans.settings:
        return
    evaluation = quantity.evaluation
    yield figure_of(
        reached_margin,
        name="margin_share",
        price=given("price", evaluation.price.total, quantity.currency, at=quantity.at("total_price")),
        waived=given(
            "waived", waived_charges(evaluation, quantity.plans), quantity.currency,
            source="by how much charges for tools were set below those of the operation plan",
        ),
        charges=_together(quantity, "charges", CHARGES), cost=_together(quantity, "cost", COST),
        overhead=_together(quantity, "overhead", {"overhead"}), contingency=_together(quantity, "contingency", {"contingency"}),
    )  # fmt: skip


def _together(quantity: Quantity, name: str, kinds: Collection[str]) -> Figure:
    """Lines of a price together, each where it stands."""
    lines = _lines_at(quantity, len(quantity.evaluation.price.lines))
    return figure_of(total, name=name, unit=quantity.currency, amounts=[line for line in lines if line.name in kinds])


def _cost(quantity: Quantity) -> Figure:
    """The cost before overhead; its sums are explained at their lines."""
    costs = quantity.evaluation.costs
    return figure_of(
        cost_of,
        name="cost",
        unit=quantity.base,
        material=_of_line("material", costs.material, quantity),
        operations=_of_line("operations", costs.operations, quantity),
        bought_parts=_of_line("bought_parts", costs.bought_parts, quantity),
        losses=_of_line("losses", costs.losses, quantity),
    )


def _of_line(kind: LineKind, amount: Decimal, quantity: Quantity) -> Figure:
    number = [line.kind for line in quantity.evaluation.price.lines].index(kind)
    return given(kind, amount, quantity.base, source=f"the line at {quantity.at('lines', number, 'amount')}, before its conversion")
