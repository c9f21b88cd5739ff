"""Blocking, fine grinding, polishing, deblocking: the work that lenses of one block share."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from services.process.domain.blocks import Block, block_for
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.figuring import figuring_loops, figuring_min
from services.process.domain.grit_ladder import ladder
from services.process.domain.operation_lines import Explanation, Line, line
from services.process.domain.preston import polishing_min
from services.process.domain.rate_rows import can_take, grinding_row, grit_rows, polishing_for
from services.process.domain.tolerance_knees import knee_of
from shared_schemas.figure import Figure
from shared_schemas.rates import GrindingRow, PolishingRow, Rates

FORMULAS = {
    "spherical block": "6 (R/d)^2 (1 - cos g) - 1/2, rounded down",
    "flat block": "best packing of N in D/d up to 20, then 3/4 (D/d)^2 - 1/2",
}


def block_of(work: ElementWork, face: FaceWork, rates: Rates) -> Block:
    """The block that a face is worked on."""
    return block_for(
        radius_mm=face.radius_mm,
        convex=face.convex,
        diameter_mm=work.blank.diameter_mm,
        edge_mm=work.edge_mm,
        irregularity_fringes=face.irregularity_fringes,
        aspheric=face.aspheric,
        row=polishing_for(rates, work.glass, "block"),
    )


def grind_and_polish(work: ElementWork, face: FaceWork, rates: Rates) -> Iterator[Line]:
    """Block, fine grind, polish and deblock one face; singly where the block holds one and a spindle takes it."""
    block = block_of(work, face, rates)
    singly = block.lenses == 1 and can_take(rates, "polish", "single", work.blank.diameter_mm)
    method = "single" if singly else "block"

    def shared() -> tuple[Figure, ...]:
        return (Figure(name="lenses per block", value=block.lenses, formula="as blocked"),)

    yield line(
        "block", rates, face=face.face, batch_size=block.lenses, batch_basis=lambda: (_block_figure(work, face, block, rates),)
    )
    yield _fine_grind(work, face, block, method, shared, rates)
    yield _polish(work, face, block, method, shared, rates)
    yield line("deblock", rates, face=face.face, batch_size=block.lenses, batch_basis=shared)


def _block_figure(work: ElementWork, face: FaceWork, block: Block, rates: Rates) -> Figure:
    row = polishing_for(rates, work.glass, "block")
    inputs = [Figure(name="d", value=block.pitch_mm, unit="mm", formula="blank diameter + gap, or what its back corner needs")]
    if face.radius_mm is None:
        inputs.append(Figure(name="D", value=row.largest_block_mm, unit="mm", rate_row=Rates.ref("polishing", row)))
    else:
        inputs.append(Figure(name="R", value=face.radius_mm, unit="mm"))
        inputs.append(
            Figure(name="g", value=block.half_angle_deg, unit="deg", formula="limit of the row, or where the block is full")
        )
    return Figure(
        name="lenses per block", value=block.lenses, formula=FORMULAS.get(block.rule, block.rule), inputs=tuple(inputs),
        rate_row=Rates.ref("polishing", row),
    )  # fmt: skip


def _fine_grind(work: ElementWork, face: FaceWork, block: Block, method: str, shared: Explanation, rates: Rates) -> Line:
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
        knee=knee_of("fine_grind", work.demands(), rates), run_basis=why, batch_basis=shared,
    )  # fmt: skip


def _polish(work: ElementWork, face: FaceWork, block: Block, method: str, shared: Explanation, rates: Rates) -> Line:
    row = polishing_for(rates, work.glass, method)
    last = grit_rows(rates, method)[-1]
    removal = row.stock_multiple * last.grit_um
    removing = polishing_min(
        removal_um=removal,
        preston_coefficient_per_pa=row.preston_coefficient_per_pa,
        pressure_pa=row.pressure_pa,
        speed_m_per_s=row.speed_m_per_s,
    )
    loops = figuring_loops(start_fringes=row.start_figure_fringes, target_fringes=face.irregularity_fringes)
    figuring = figuring_min(loops=loops, measure_min=row.measure_min, correct_min=row.correct_min)

    def why() -> tuple[Figure, ...]:
        inputs = (*_removing(row, last, removal), _figuring(row, face, loops, figuring))
        formula = "removal / (Kp x pressure x speed) + figuring"
        return (Figure(name="run", value=removing + figuring, unit="min", formula=formula, inputs=inputs),)

    return line(
        "polish", rates, face=face.face, method=method, diameter_mm=work.blank.diameter_mm, batch_size=block.lenses,
        run_min=removing + figuring, consumables=row.consumables_per_batch,
        knee=knee_of("polish", (*face.demands(), *work.demands()), rates), run_basis=why, batch_basis=shared,
    )  # fmt: skip


def _removing(row: PolishingRow, last: GrindingRow, removal_um: float) -> tuple[Figure, ...]:
    ref = Rates.ref("polishing", row)
    grit = Figure(name="last grit", value=last.grit_um, unit="um", rate_row=Rates.ref("grinding", last))
    return (
        Figure(name="removal", value=removal_um, unit="um", formula="stock multiple x last grit", inputs=(grit,), rate_row=ref),
        Figure(name="Kp", value=row.preston_coefficient_per_pa, unit="1/Pa", rate_row=ref),
        Figure(name="pressure", value=row.pressure_pa, unit="Pa", rate_row=ref),
        Figure(name="speed", value=row.speed_m_per_s, unit="m/s", rate_row=ref),
    )


def _figuring(row: PolishingRow, face: FaceWork, loops: int, minutes: float) -> Figure:
    inputs = (
        Figure(name="loops", value=loops, formula="1 + log2(start figure / irregularity), rounded up"),
        Figure(name="irregularity", value=face.irregularity_fringes, unit="fringe", source="the check report"),
    )
    formula = "loops x measure + (loops - 1) x correct"
    return Figure(name="figuring", value=minutes, unit="min", formula=formula, inputs=inputs, rate_row=Rates.ref("polishing", row))
