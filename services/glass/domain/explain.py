"""The blank plan in its contracts: every figure with its formula, its inputs and the rate rows it rests on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from services.glass.domain.buying import Crossover, Group, GroupLot
from services.glass.domain.options import BlankOption, depth_mm
from services.glass.domain.purchase import Purchase
from services.shop.layout.rows import HEXAGONAL_LIMIT
from shared_schemas.blanks import Blank, MaterialModel, MaterialStep, PurchaseLine
from shared_schemas.check import ElementCheck
from shared_schemas.figure import Figure
from shared_schemas.rates import AllowanceRow, GlassRow, RateMissing, Rates

CUT_FORMS = ("slab", "strip")
NAME_UP_TO = 60
"""Characters that the contract allows for the name of a model."""


def blank_of(*, option: BlankOption, others: Sequence[BlankOption], checked: ElementCheck, glass: GlassRow) -> Blank:
    """The blank of an element as the plan states it, and what it would be out of `others`; raises `RateMissing` for a glass without a density."""
    finished_mass_g = checked.volume_mm3 * density_of(glass) / 1000 if checked.mass_g is None else checked.mass_g
    shape, yielded = option.shape, option.yielded
    return Blank(
        element=option.element.name,
        glass=glass.name,
        form=option.stock.form,
        stock=option.stock.name,
        diameter_mm=shape.diameter_mm,
        thickness_mm=shape.thickness_mm,
        envelope_mm=shape.envelope_mm,
        volume_mm3=shape.volume_mm3,
        mass_g=option.mass_g,
        finished_mass_g=finished_mass_g,
        discs_per_plate=yielded.discs_per_plate,
        plates_per_slab=yielded.plates,
        blanks_per_piece=option.blanks_per_piece,
        layout=yielded.layout,
        utilisation=yielded.utilisation,
        basis=(
            *_size_figures(option),
            *_mass_figures(option, glass, finished_mass_g),
            *_loss_figures(option),
            *(_other_form(other, finished_mass_g) for other in others),
            *(_cutting_figures(option) if option.stock.form in CUT_FORMS else ()),
            *(_slice_figures(option) if option.stock.form == "disc" else ()),
        ),
    )


def material_of(*, group: Group, glass: GlassRow, turns: Mapping[str, Crossover], rates: Rates) -> MaterialModel:
    """What the glass of some elements costs, a step for each lot; `turns` tells where pressing overtakes cutting."""
    names = ", ".join(group.members)
    name = f"glass of {names}"
    return MaterialModel(
        name=name if len(name) <= NAME_UP_TO else f"{glass.name} of {len(group.members)} elements",
        glass=glass.name,
        members=group.members,
        steps=tuple(_step(lot) for lot in group.lots),
        basis=(
            _first_lot(group.lots[0], rates),
            *(_crossover_figure(member, turns[member], rates) for member in group.members if member in turns),
        ),
        apart=tuple(material_of(group=one, glass=glass, turns={}, rates=rates) for one in group.apart),
    )


def _step(lot: GroupLot) -> MaterialStep:
    main = lot.main.source.stock
    plain = len(lot.parts) == 1 and len(lot.parts[0].members) == 1
    if plain and len(lot.parts[0].lot.purchases) == 1 and not lot.main.source.owned:
        purchases: tuple[PurchaseLine, ...] = ()
    else:
        purchases = tuple(
            PurchaseLine(
                stock=one.source.stock.name,
                form=one.source.stock.form,
                owned=one.source.owned,
                members=part.members,
                pieces=one.pieces,
                plates=one.plates,
                amount=one.amount,
            )
            for part in lot.parts
            for one in part.lot.purchases
        )
    return MaterialStep(
        blanks=lot.blanks,
        cost=lot.cost,
        pieces=lot.pieces,
        bought_mass_g=lot.bought_mass_g,
        lead_days=lot.lead_days,
        form=main.form,
        stock=main.name,
        purchases=purchases,
    )


def _first_lot(lot: GroupLot, rates: Rates) -> Figure:
    return Figure(
        name="cost_of_the_smallest_lot",
        value=lot.cost,
        unit=rates.base_currency,
        formula="sum of the amounts, rounded up",
        inputs=tuple(_amount(one, rates.base_currency) for part in lot.parts for one in part.lot.purchases),
    )


def _amount(one: Purchase, money: str) -> Figure:
    source, stock = one.source, one.source.stock
    row = Rates.ref("stock_forms", stock)
    price = Figure(name="price_per_kg", value=one.price_per_kg, unit=f"{money}/kg", rate_row=row)
    if source.owned:
        return _amount_from_the_store(one, price, money)
    return Figure(
        name="amount",
        value=one.amount,
        unit=money,
        formula="bought_mass_kg * price_per_kg + lot_charge + mould_charge - credited",
        inputs=(
            _bought_mass(one),
            price,
            Figure(name="lot_charge", value=stock.lot_charge, unit=money, rate_row=row),
            Figure(name="mould_charge", value=stock.mould_charge, unit=money, rate_row=row),
            Figure(
                name="credited",
                value=one.credited,
                unit=money,
                formula="remnant_credit * price_per_kg * unsawn_mass_kg",
                inputs=(Figure(name="remnant_credit", value=source.credit, rate_row=row), price),
            ),
        ),
    )


def _amount_from_the_store(one: Purchase, price: Figure, money: str) -> Figure:
    share = one.source.value_of_owned
    used_kg = one.amount / one.price_per_kg / share
    return Figure(
        name="amount_from_the_store",
        value=one.amount,
        unit=money,
        formula="used_mass_kg * price_per_kg * value_share",
        inputs=(
            Figure(name="used_mass_kg", value=used_kg, unit="kg", source="the cutting plan: plates sawn off the pieces"),
            price,
            Figure(name="value_share", value=share, rate_row=Rates.ref("stock_forms", one.source.stock)),
        ),
    )


def _bought_mass(one: Purchase) -> Figure:
    formula = "as few as give the plates, or as many as reach the minimum order or a price step"
    row = Rates.ref("stock_forms", one.source.stock)
    return Figure(
        name="bought_mass_kg",
        value=one.source.piece_kg * one.pieces,
        unit="kg",
        formula="pieces * mass_of_a_piece_g / 1000",
        inputs=(
            Figure(name="pieces", value=one.pieces, formula=formula),
            Figure(name="mass_of_a_piece_g", value=one.source.piece_mass_g, unit="g", rate_row=row),
        ),
    )


def _crossover_figure(element: str, turn: Crossover, rates: Rates) -> Figure:
    money = rates.base_currency
    return Figure(
        name="pressing_from_blanks",
        value=turn.blanks,
        formula="the number from which on pressed_amount is always below cut_amount",
        inputs=(
            Figure(name="element", value=element, source="the prescription"),
            Figure(name="pressed_amount", value=turn.pressed_amount, unit=money,
                   rate_row=Rates.ref("stock_forms", turn.pressed.stock)),
            Figure(name="cut_amount", value=turn.cut_amount, unit=money, rate_row=Rates.ref("stock_forms", turn.cut.stock)),
        ),
    )  # fmt: skip


def _size_figures(option: BlankOption) -> tuple[Figure, ...]:
    element, shape, cut = option.element, option.shape, option.allowances
    if shape.diameter_mm > shape.needed_diameter_mm:
        diameter = Figure(
            name="blank_diameter_mm",
            value=shape.diameter_mm,
            unit="mm",
            formula="rod_diameter_mm",
            inputs=(
                Figure(name="rod_diameter_mm", value=shape.diameter_mm, unit="mm", rate_row=Rates.ref("stock_forms", option.stock)),
            ),
        )
    else:
        diameter = Figure(
            name="blank_diameter_mm",
            value=shape.diameter_mm,
            unit="mm",
            formula="diameter_mm + on_diameter_mm",
            inputs=(
                Figure(name="diameter_mm", value=element.diameter_mm, unit="mm"),
                _allowance("on_diameter_mm", cut.on_diameter),
            ),
        )
    envelope = Figure(
        name="envelope_mm",
        value=shape.envelope_mm,
        unit="mm",
        formula="max(centre_thickness_mm + sag_back) - min(sag_front), both faces extended to blank_diameter_mm",
        inputs=(Figure(name="centre_thickness_mm", value=element.centre_thickness_mm, unit="mm"), diameter),
        source="derived from the geometry",
    )
    thickness = Figure(
        name="blank_thickness_mm",
        value=shape.thickness_mm,
        unit="mm",
        formula="envelope_mm + 2 * per_face_mm",
        inputs=(envelope, _allowance("per_face_mm", cut.per_face)),
    )
    return diameter, thickness


def _mass_figures(option: BlankOption, glass: GlassRow, finished_mass_g: float) -> tuple[Figure, ...]:
    finished = Figure(name="finished_mass_g", value=finished_mass_g, unit="g", source="the check report")
    mass = Figure(
        name="blank_mass_g",
        value=option.mass_g,
        unit="g",
        formula="blank_volume_mm3 * density_g_cm3 / 1000",
        inputs=(Figure(name="blank_volume_mm3", value=option.shape.volume_mm3, unit="mm3"), _density(glass)),
    )
    bought = Figure(
        name="bought_per_blank_g",
        value=option.bought_per_blank_g,
        unit="g",
        formula="mass_of_a_piece_g / blanks_per_piece",
        inputs=(
            Figure(name="mass_of_a_piece_g", value=option.piece_mass_g, unit="g", rate_row=Rates.ref("stock_forms", option.stock)),
            Figure(name="blanks_per_piece", value=option.blanks_per_piece, formula="discs_per_plate * plates_per_slab"),
        ),
    )
    return (
        mass,
        bought,
        Figure(name="removed_share", value=1 - finished_mass_g / option.mass_g, formula="1 - finished_mass_g / blank_mass_g",
               inputs=(finished, mass)),
        Figure(name="bought_per_gram_finished", value=option.bought_per_blank_g / finished_mass_g,
               formula="bought_per_blank_g / finished_mass_g", inputs=(bought, finished)),
    )  # fmt: skip


def _loss_figures(option: BlankOption) -> tuple[Figure, ...]:
    """The share of the bought glass lost at the saw, and of what is left at the core drill; none of a pressing."""
    if option.stock.form == "pressing":
        return ()
    depth, yielded = depth_mm(stock=option.stock), option.yielded
    row = Rates.ref("stock_forms", option.stock)
    return (
        Figure(
            name="lost_in_sawing_share",
            value=1 - yielded.plates * option.shape.thickness_mm / depth,
            formula="1 - plates_per_slab * blank_thickness_mm / depth_mm: skin, saw cuts and the end that makes no plate",
            inputs=(
                Figure(name="plates_per_slab", value=yielded.plates, source="the cutting plan"),
                Figure(name="blank_thickness_mm", value=option.shape.thickness_mm, unit="mm"),
                Figure(name="depth_mm", value=depth, unit="mm", rate_row=row),
            ),
        ),
        Figure(
            name="lost_in_coring_share",
            value=1 - yielded.utilisation,
            formula="1 - utilisation: core cuts, webs, margins and corners",
            inputs=(Figure(name="utilisation", value=yielded.utilisation, source="the cutting plan"),),
        ),
    )


def _other_form(other: BlankOption, finished_mass_g: float) -> Figure:
    """What a finished gram takes in another form of stock."""
    return Figure(
        name="bought_per_gram_finished_elsewhere",
        value=other.bought_per_blank_g / finished_mass_g,
        formula="mass_of_a_piece_g / blanks_per_piece / finished_mass_g",
        inputs=(
            Figure(name="mass_of_a_piece_g", value=other.piece_mass_g, unit="g", rate_row=Rates.ref("stock_forms", other.stock)),
            Figure(name="blanks_per_piece", value=other.blanks_per_piece, source="the cutting plan"),
            Figure(name="blank_mass_g", value=other.mass_g, unit="g", source="the cutting plan"),
            Figure(name="finished_mass_g", value=finished_mass_g, unit="g", source="the check report"),
        ),
    )


def _cutting_figures(option: BlankOption) -> tuple[Figure, ...]:
    cut, yielded, stock = option.allowances, option.yielded, option.stock
    row = Rates.ref("stock_forms", stock)
    discs = Figure(
        name="discs_per_plate",
        value=yielded.discs_per_plate,
        formula="the best layout known: rows of several kinds, and a search for one disc more; skin_mm and edge_margin_mm off all round",
        inputs=(
            Figure(name="length_mm", value=stock.length_mm or 0.0, unit="mm", rate_row=row),
            Figure(name="width_mm", value=stock.width_mm or 0.0, unit="mm", rate_row=row),
            _gap(option),
            _allowance("skin_mm", cut.skin),
            _allowance("edge_margin_mm", cut.edge_margin),
        ),
    )
    plates = Figure(
        name="plates_per_slab",
        value=yielded.plates,
        formula="floor((thickness_mm - 2 * skin_mm + saw_kerf_mm) / (blank_thickness_mm + saw_kerf_mm))",
        inputs=(
            Figure(name="thickness_mm", value=stock.thickness_mm or 0.0, unit="mm", rate_row=row),
            _allowance("skin_mm", cut.skin),
            _allowance("saw_kerf_mm", cut.saw_kerf),
            Figure(name="blank_thickness_mm", value=option.shape.thickness_mm, unit="mm"),
        ),
    )
    limit = Figure(name="hexagonal_limit", value=HEXAGONAL_LIMIT, formula="pi / sqrt(12)", source="Thue, from memory")
    share = Figure(
        name="utilisation",
        value=yielded.utilisation,
        formula="discs_per_plate * pi * blank_diameter_mm^2 / (4 * length_mm * width_mm); at most hexagonal_limit",
        inputs=(discs, Figure(name="blank_diameter_mm", value=option.shape.diameter_mm, unit="mm"), limit),
    )
    return share, plates


def _slice_figures(option: BlankOption) -> tuple[Figure, ...]:
    """How many blanks come out of a round slice, and the share of its face that they cover."""
    cut, diameter = option.allowances, option.stock.diameter_mm or 0.0
    row = Rates.ref("stock_forms", option.stock)
    discs = Figure(
        name="discs_per_slice",
        value=option.yielded.discs_per_plate,
        formula="the best layout known: lattices, rings, and a search for one disc more; skin_mm and edge_margin_mm off all round",
        inputs=(
            Figure(name="diameter_mm", value=diameter, unit="mm", rate_row=row),
            _gap(option),
            _allowance("skin_mm", cut.skin),
            _allowance("edge_margin_mm", cut.edge_margin),
        ),
    )
    share = Figure(
        name="utilisation",
        value=option.yielded.utilisation,
        formula="discs_per_slice * (blank_diameter_mm / diameter_mm)^2",
        inputs=(discs, Figure(name="blank_diameter_mm", value=option.shape.diameter_mm, unit="mm")),
    )
    return (share,)


def _gap(option: BlankOption) -> Figure:
    cut = option.allowances
    return Figure(
        name="gap_mm",
        value=cut.gap_mm,
        unit="mm",
        formula="2 * core_kerf_mm + web_mm",
        inputs=(_allowance("core_kerf_mm", cut.core_kerf), _allowance("web_mm", cut.web)),
    )


def _allowance(name: str, row: AllowanceRow) -> Figure:
    return Figure(name=name, value=row.allowance_mm, unit="mm", rate_row=Rates.ref("allowances", row))


def _density(glass: GlassRow) -> Figure:
    return Figure(name="density_g_cm3", value=density_of(glass), unit="g/cm3", rate_row=Rates.ref("glasses", glass))


def density_of(glass: GlassRow) -> float:
    """Density [g/cm3] of a glass; raises `RateMissing`."""
    if glass.density_g_cm3 is None:
        raise RateMissing("glasses", f"the density of {glass.name}")
    return glass.density_g_cm3
