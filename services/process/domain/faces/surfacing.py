"""Blocking, fine grinding, polishing, deblocking: the work that lenses of one block share."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from decimal import Decimal
from typing import Literal

from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.faces.block import Block, block_for
from services.process.domain.faces.fine_grinding import ladder
from services.process.domain.faces.polishing import figuring_loops, figuring_min, polishing_min
from services.process.domain.route.extra_work import NO_EXTRA
from services.process.domain.route.knees import knee_of
from services.process.domain.route.lines import Line, line, of_same_row
from services.process.domain.route.rate_rows import can_take, grinding_row, grit_rows, polishing_for
from services.shop.minutes import per_minute
from shared_schemas.figure import Figure
from shared_schemas.operation_kinds import OperationName
from shared_schemas.rates import GrindingRow, PolishingRow, Rates

FEW = 12
"""Lenses on a block up to which it is asked whether singly they would cost less; above, the block is taken without asking, as is
common practice, though rates could be written with which it would not pay."""

SOFTLY = "blocked softly"
"""What the rule of a block says where an element bends: pitch buttons apart, so that nothing is strained."""

PATTERNS = {
    "best packing": "best packing of N lenses known for D/d",
    "hexagonal": "lenses laid out in hexagonal rows",
    "nested rings": "lenses laid out in rings that nest",
    "spaced rings": "lenses laid out in rings at equal distances",
}
PUSHED = ", pushed"


def block_of(work: ElementWork, face: FaceWork, rates: Rates, *, worked_first: bool) -> Block:
    """The block that a face is worked on; behind the one worked first stands the blank as it was cut or pressed.

    Notes: an element that bends is blocked softly, with a share of the lenses a block would hold; a thinner one is worked singly.
    Where a block holds few, a full one is held against as many lenses worked singly, and the cheaper way is taken.
    """
    block = _block_that_fits(work, face, rates, worked_first=worked_first)
    if not 1 < block.lenses <= FEW or not _a_spindle_takes(work, rates):
        return block
    alone = replace(block, lenses=1, rule=f"singly: {block.lenses} on a block would cost more")
    costs = [_cost_of_one(_steps(work, face, way, rates, worked_first=worked_first)) for way in (alone, block)]
    return alone if costs[0] < costs[1] else block


def _block_that_fits(work: ElementWork, face: FaceWork, rates: Rates, *, worked_first: bool) -> Block:
    row = polishing_for(rates, work.glass, "block")
    thin = thinness(work, row)
    block = block_for(
        radius_mm=face.radius_mm,
        convex=face.convex,
        diameter_mm=work.blank.diameter_mm,
        edge_mm=_behind_rim_mm(work, face) if worked_first else work.rim_mm,
        irregularity_fringes=face.irregularity_fringes,
        aspheric=face.aspheric,
        row=row,
    )
    if block.lenses == 1 or thin == "stiff":
        return block
    if thin == "limp":
        return replace(block, lenses=1, rule=f"singly: {work.diameter_to_thickness:.3g} times as wide as thick, it bends")
    lenses = max(math.floor(block.lenses * row.thin_lenses_share), 1)
    return replace(
        block, lenses=lenses, rule="singly: one finds room, blocked softly" if lenses == 1 else f"{block.rule}, {SOFTLY}"
    )


def thinness(work: ElementWork, row: PolishingRow) -> Literal["stiff", "thin", "limp"]:
    """Whether an element bends under its polisher: by its diameter over its centre thickness and the limits of the row."""
    ratio = work.diameter_to_thickness
    if row.single_thin_over is not None and ratio > row.single_thin_over:
        return "limp"
    return "thin" if row.thin_over is not None and ratio > row.thin_over else "stiff"


def _behind_rim_mm(work: ElementWork, face: FaceWork) -> float:
    """Glass behind the rim of a face when the other is as the blank has it: thickness less sag; a pressing is near its lens [mm]."""
    if work.blank.form == "pressing":
        return work.rim_mm
    return max(work.blank.thickness_mm - face.sag_at_blank_mm, 0.0)


def grind_and_polish(work: ElementWork, face: FaceWork, rates: Rates, *, worked_first: bool) -> Iterator[Line]:
    """Block, fine grind, polish and deblock one face; singly where the block holds one and a spindle takes it."""
    return _steps(work, face, block_of(work, face, rates, worked_first=worked_first), rates, worked_first=worked_first)


def _a_spindle_takes(work: ElementWork, rates: Rates) -> bool:
    """Whether there are spindles that work a lens of the diameter singly."""
    spindles: tuple[OperationName, ...] = ("fine_grind", "polish")
    return all(can_take(rates, step, "single", work.blank.diameter_mm) for step in spindles)


def _cost_of_one(steps: Iterable[Line]) -> float:
    """What the steps of a full batch cost for each piece in it, machine, people and consumables [base currency]."""
    cost = 0.0
    for one in steps:
        minutes = one.batch_min / one.batch_size + one.piece_min
        cost += minutes * per_minute(one.centre).attended(one.attended_share) + float(one.consumables) / one.batch_size
    return cost


def _steps(work: ElementWork, face: FaceWork, block: Block, rates: Rates, *, worked_first: bool) -> Iterator[Line]:
    """The steps on a block, or singly where it holds one and a spindle takes it."""
    method = "single" if block.lenses == 1 and _a_spindle_takes(work, rates) else "block"

    def shared() -> Figure:
        return Figure(name="batch_size", value=block.lenses, formula="the lenses of the block")

    yield line(
        "block", rates, face=face.face, batch_size=block.lenses, run_basis=lambda: (_resting_on(work, face, worked_first=worked_first),),
        batch_basis=lambda: _block_figure(work, face, block, rates),
        extra=NO_EXTRA if worked_first else work.extra_work.at("block"),
    )  # fmt: skip
    yield _fine_grind(work, face, block, method, shared, rates)
    yield _polish(work, face, block, method, shared, rates)
    yield line("deblock", rates, face=face.face, batch_size=block.lenses, batch_basis=shared, extra=work.extra_work.at("deblock"))


def _resting_on(work: ElementWork, face: FaceWork, *, worked_first: bool) -> Figure:
    """What lies on the block: the raw other face for the face worked first, the finished one for the second."""
    other = "back" if face.face == "front" else "front"
    value = f"the {other} as it is on the blank" if worked_first else f"the {other}, finished"
    return Figure(name="rests on", value=value, formula=work.order.reason, source="common practice")


def _block_figure(work: ElementWork, face: FaceWork, block: Block, rates: Rates) -> Figure:
    row = polishing_for(rates, work.glass, "block")
    inputs = [Figure(name="d", value=block.pitch_mm, unit="mm", formula="blank diameter + gap, or what its back corner needs")]
    if face.radius_mm is None:
        inputs.append(of_same_row("D", row.largest_block_mm, "mm"))
    else:
        inputs.append(Figure(name="R", value=face.radius_mm, unit="mm", source="the prescription"))
    if block.half_angle_deg:
        reach = "limit of the row, or where the block is as wide as the largest"
        inputs.append(Figure(name="g", value=block.half_angle_deg, unit="deg", formula=reach))
    if block.lenses > 1:
        formula = "3/4 (D/d)^2 - 1/2" if face.radius_mm is None else "6 (R/d)^2 (1 - cos g) - 1/2"
        inputs.append(Figure(name="trade formula", value=block.trade_formula(), formula=formula))
    return Figure(
        name="batch_size", value=block.lenses, formula=_formula(block, row), inputs=tuple(inputs),
        rate_row=Rates.ref("polishing", row),
    )  # fmt: skip


def _formula(block: Block, row: PolishingRow) -> str:
    rule = block.rule.removesuffix(f", {SOFTLY}")
    pattern = rule.removesuffix(PUSHED)
    formula = PATTERNS.get(pattern, pattern) + ("" if pattern == rule else ", pushed about until more find room")
    return formula if rule == block.rule else f"{formula}; of these {row.thin_lenses_share:g}, {SOFTLY}"


def _fine_grind(work: ElementWork, face: FaceWork, block: Block, method: str, shared: Callable[[], Figure], rates: Rates) -> Line:
    generator = grinding_row(rates, "generate")
    found = ladder(
        work.glass, method=method, first_grit_um=generator.grit_um, first_damage_multiple=generator.damage_multiple, rates=rates
    )
    minutes = sum(rung.minutes for rung in found.rungs)

    def why() -> tuple[Figure, ...]:
        rungs = (
            Figure(name=f"removal by {rung.row.name}", value=rung.removal_um, unit="um", rate_row=Rates.ref("grinding", rung.row),
                   formula="damage multiple x grit before")
            for rung in found.rungs
        )  # fmt: skip
        formula = "sum over grits of change-over + removal / (rate x factor of the glass)"
        return (Figure(name="run", value=minutes, unit="min", formula=formula, inputs=(found.softness(), *rungs)),)

    return line(
        "fine_grind", rates, face=face.face, method=method, diameter_mm=work.blank.diameter_mm, batch_size=block.lenses, run_min=minutes,
        consumables=sum((rung.row.consumables_per_batch for rung in found.rungs), Decimal(0)),
        knee=knee_of("fine_grind", work.demands_on(face), rates), run_basis=why, batch_basis=shared,
        extra=work.extra_work.at("fine_grind"),
    )  # fmt: skip


def _polish(work: ElementWork, face: FaceWork, block: Block, method: str, shared: Callable[[], Figure], rates: Rates) -> Line:
    row = polishing_for(rates, work.glass, method)
    last = grit_rows(rates, method)[-1]
    removal = row.stock_multiple * last.grit_um
    pressure = row.pressure_pa * (1.0 if thinness(work, row) == "stiff" else row.thin_pressure_share)
    removing = polishing_min(
        removal_um=removal,
        preston_coefficient_per_pa=row.preston_coefficient_per_pa,
        pressure_pa=pressure,
        speed_m_per_s=row.speed_m_per_s,
    )
    loops = figuring_loops(start_fringes=row.start_figure_fringes, target_fringes=face.irregularity_fringes)
    figuring = figuring_min(loops=loops, measure_min=row.measure_min, correct_min=row.correct_min)

    def why() -> tuple[Figure, ...]:
        inputs = (*_removing(row, last, removal, pressure), _figuring(row, face, loops, figuring))
        return (
            Figure(name="run", value=removing + figuring, unit="min", formula="removal / 1e6 / (Kp x pressure x speed) / 60 + figuring",
                   inputs=inputs, rate_row=Rates.ref("polishing", row)),
        )  # fmt: skip

    return line(
        "polish", rates, face=face.face, method=method, diameter_mm=work.blank.diameter_mm, batch_size=block.lenses,
        run_min=removing + figuring, consumables=row.consumables_per_batch,
        knee=knee_of("polish", work.demands_on(face), rates), run_basis=why, batch_basis=shared,
        extra=work.extra_work.at("polish"),
    )  # fmt: skip


def _removing(row: PolishingRow, last: GrindingRow, removal_um: float, pressure_pa: float) -> tuple[Figure, ...]:
    grit = Figure(name="last grit", value=last.grit_um, unit="um", rate_row=Rates.ref("grinding", last))
    multiple = of_same_row("stock multiple", row.stock_multiple)
    return (
        Figure(name="removal", value=removal_um, unit="um", formula="stock multiple x last grit", inputs=(multiple, grit)),
        of_same_row("Kp", row.preston_coefficient_per_pa, "1/Pa"),
        of_same_row("pressure", pressure_pa, "Pa") if pressure_pa == row.pressure_pa else _light_pressure(row, pressure_pa),
        of_same_row("speed", row.speed_m_per_s, "m/s"),
    )


def _light_pressure(row: PolishingRow, pressure_pa: float) -> Figure:
    inputs = (
        of_same_row("usual pressure", row.pressure_pa, "Pa"),
        of_same_row("share for a thin element", row.thin_pressure_share),
    )
    return Figure(name="pressure", value=pressure_pa, unit="Pa", formula="usual pressure x share", inputs=inputs)


def _figuring(row: PolishingRow, face: FaceWork, loops: int, minutes: float) -> Figure:
    figures = (
        of_same_row("start figure", row.start_figure_fringes, "fringe"),
        Figure(name="irregularity", value=face.irregularity_fringes, unit="fringe", source="the check report"),
    )
    inputs = (
        Figure(name="loops", value=loops, formula="1 + ceil(log2(start figure / irregularity)), at least 1", inputs=figures),
        of_same_row("measure", row.measure_min, "min"),
        of_same_row("correct", row.correct_min, "min"),
    )
    return Figure(name="figuring", value=minutes, unit="min", formula="loops x measure + (loops - 1) x correct", inputs=inputs)
