"""The blank plan in its contracts: every figure with its formula, its inputs and the rate rows it rests on."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from services.glass.domain.options import BlankOption
from services.glass.domain.packing import HEXAGONAL_LIMIT
from services.glass.domain.purchase import Lot
from shared_schemas.blanks import Blank, MaterialModel, MaterialStep
from shared_schemas.check import ElementCheck
from shared_schemas.figure import Figure
from shared_schemas.rates import AllowanceRow, GlassRow, RateMissing, Rates

CUT_FORMS = ("slab", "strip")


def blank_of(*, option: BlankOption, checked: ElementCheck, glass: GlassRow) -> Blank:
    """The blank of an element as the plan states it; raises `RateMissing` for a glass without a density."""
    finished_mass_g = checked.volume_mm3 * _density_g_cm3(glass) / 1000 if checked.mass_g is None else checked.mass_g
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
            *(_cutting_figures(option) if option.stock.form in CUT_FORMS else ()),
        ),
    )


def material_of(*, element: str, glass: GlassRow, lots: Sequence[Lot], rates: Rates) -> MaterialModel:
    """What the glass of an element costs, a step for each lot."""
    turn = crossover(lots)
    return MaterialModel(
        name=f"glass of {element}",
        glass=glass.name,
        members=(element,),
        steps=tuple(
            MaterialStep(
                blanks=lot.blanks,
                cost=lot.cost,
                pieces=lot.pieces,
                bought_mass_g=lot.bought_mass_g,
                lead_days=lot.source.stock.lead_days,
                form=lot.source.stock.form,
                stock=lot.source.stock.name,
            )
            for lot in lots
        ),
        basis=(_first_lot(lots[0], rates), *(() if turn is None else (_crossover_figure(*turn, rates),))),
    )


def crossover(lots: Sequence[Lot]) -> tuple[Lot, Lot] | None:
    """The last lot of another form than the one that wins at the largest numbers, and the first after it; `None` for one form."""
    changes = [(before, after) for before, after in pairwise(lots) if before.source.stock.form != after.source.stock.form]
    return changes[-1] if changes else None


def _first_lot(lot: Lot, rates: Rates) -> Figure:
    stock = lot.source.stock
    row = Rates.ref("stock_forms", stock)
    money = rates.base_currency
    return Figure(
        name="cost_of_the_smallest_lot",
        value=lot.cost,
        unit=money,
        formula="bought_mass_kg * price_per_kg + lot_charge + mould_charge, rounded up",
        inputs=(
            Figure(
                name="bought_mass_kg",
                value=lot.bought_mass_g / 1000,
                unit="kg",
                formula="pieces * mass_of_a_piece_g / 1000",
                inputs=(
                    Figure(
                        name="pieces", value=lot.pieces, formula="blanks / blanks_per_piece, rounded up; at least the minimum order"
                    ),
                    Figure(name="mass_of_a_piece_g", value=lot.source.piece_mass_g, unit="g", rate_row=row),
                ),
            ),
            Figure(name="price_per_kg", value=lot.price_per_kg, unit=f"{money}/kg", rate_row=row),
            Figure(name="lot_charge", value=stock.lot_charge, unit=money, rate_row=row),
            Figure(name="mould_charge", value=stock.mould_charge, unit=money, rate_row=row),
        ),
    )


def _crossover_figure(before: Lot, after: Lot, rates: Rates) -> Figure:
    stock = after.source.stock
    return Figure(
        name=f"{stock.form}_from_blanks",
        value=before.blanks + 1,
        formula="lot_before + 1: from there on a lot of stock always costs less",
        inputs=(
            Figure(name="lot_before", value=before.blanks, rate_row=Rates.ref("stock_forms", before.source.stock)),
            Figure(name="cost_before", value=before.cost, unit=rates.base_currency),
            Figure(name="stock", value=stock.name, rate_row=Rates.ref("stock_forms", stock)),
            Figure(name="cost_after", value=after.cost, unit=rates.base_currency),
        ),
    )


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


def _cutting_figures(option: BlankOption) -> tuple[Figure, ...]:
    cut, yielded, stock = option.allowances, option.yielded, option.stock
    row = Rates.ref("stock_forms", stock)
    gap = Figure(
        name="gap_mm",
        value=cut.gap_mm,
        unit="mm",
        formula="2 * core_kerf_mm + web_mm",
        inputs=(_allowance("core_kerf_mm", cut.core_kerf), _allowance("web_mm", cut.web)),
    )
    discs = Figure(
        name="discs_per_plate",
        value=yielded.discs_per_plate,
        formula="the best of square rows and hexagonal rows along either side, skin_mm and edge_margin_mm off all round",
        inputs=(
            Figure(name="length_mm", value=stock.length_mm or 0.0, unit="mm", rate_row=row),
            Figure(name="width_mm", value=stock.width_mm or 0.0, unit="mm", rate_row=row),
            gap,
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


def _allowance(name: str, row: AllowanceRow) -> Figure:
    return Figure(name=name, value=row.allowance_mm, unit="mm", rate_row=Rates.ref("allowances", row))


def _density(glass: GlassRow) -> Figure:
    return Figure(name="density_g_cm3", value=_density_g_cm3(glass), unit="g/cm3", rate_row=Rates.ref("glasses", glass))


def _density_g_cm3(glass: GlassRow) -> float:
    if glass.density_g_cm3 is None:
        raise RateMissing("glasses", f"the density of {glass.name}")
    return glass.density_g_cm3
