"""The route of one element: from stock or pressing to a coated, inspected piece."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from services.process.domain.blocks import Block, block_for
from services.process.domain.coating_cycle import cycle_min, deposition_min, seats
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.figuring import figuring_loops, figuring_min
from services.process.domain.grit_ladder import ladder
from services.process.domain.inspection import inspect_element
from services.process.domain.knees import knee_of
from services.process.domain.operation_lines import line
from services.process.domain.preston import polishing_min
from services.process.domain.rate_rows import grinding_row, grit_rows, polishing_for
from services.process.domain.removal import core_volume_mm3, removal_rate, rim_volume_mm3
from shared_schemas.figure import Figure
from shared_schemas.operations import Operation, Route
from shared_schemas.rates import AllowanceRow, PolishingRow, RateMissing, Rates

SELF_CENTRING_Z = 0.56
"""Below this a lens is centred optically. H. H. Karow, Fabrication Methods for Precision Optics (1993), p. 524."""


def element_route(work: ElementWork, rates: Rates) -> Route:
    """Route card of one element."""
    return Route(part=work.name, kind="element", operations=tuple(element_operations(work, rates)))


def element_operations(work: ElementWork, rates: Rates) -> Iterator[Operation]:
    """Every operation of an element, in order. The second face is blocked on the first, which is then finished."""
    yield from _blank_operations(work, rates)
    first, second = face_order(work)
    for face in (first, second):
        yield _generate(work, face, rates)
        yield from _grind_and_polish(work, face, rates)
    yield from _centre(work, rates)
    yield line("clean", rates, knee=knee_of("clean", (*work.front.demands(), *work.back.demands()), rates))
    yield inspect_element(work, rates)
    for face in (first, second):
        if face.coating is not None:
            yield _coat(work, face, rates)


def face_order(work: ElementWork) -> tuple[FaceWork, FaceWork]:
    """The face worked first: the concave or flatter one, which the finished piece then rests on (common practice)."""
    front, back = work.faces
    if front.convex != back.convex:
        return (back, front) if front.convex else (front, back)
    return (front, back) if (front.radius_mm or 1e9) >= (back.radius_mm or 1e9) else (back, front)


def _allowance(rates: Rates, kind: str, diameter_mm: float) -> AllowanceRow:
    for row in rates.allowances:
        if row.kind == kind and row.diameter_over_mm < diameter_mm <= row.diameter_up_to_mm:
            return row
    raise RateMissing("allowances", f"{kind} for {diameter_mm:g} mm")


def _blank_operations(work: ElementWork, rates: Rates) -> Iterator[Operation]:
    blank = work.blank
    if blank.form == "pressing":
        yield line("press_blank", rates)
        return
    if blank.form != "disc":
        yield _saw(work, rates)
    if blank.form in ("slab", "strip"):
        yield _core(work, rates)


def _saw(work: ElementWork, rates: Rates) -> Operation:
    """One cut frees a plate, out of which so many discs come; a cut turns the kerf over the plate's face to slurry."""
    blank = work.blank
    kerf = _allowance(rates, "saw_kerf", work.diameter_mm)
    face_mm2 = blank.discs_per_plate * blank.volume_mm3 / blank.thickness_mm / max(blank.utilisation, 0.05)
    rate, row, hardness = removal_rate("saw", work.glass, rates)
    volume = face_mm2 * kerf.allowance_mm
    return line(
        "saw", rates, batch_size=blank.discs_per_plate, run_min=volume / rate, consumables=row.consumables_per_batch * blank.discs_per_plate,
        run_basis=(
            Figure(
                name="run", value=volume / rate, unit="min", formula="face of a plate x kerf / removal rate", rate_row=Rates.ref("grinding", row),
                inputs=(Figure(name="kerf", value=kerf.allowance_mm, unit="mm", rate_row=Rates.ref("allowances", kerf)), hardness),
            ),
        ),
        batch_basis=(Figure(name="discs per plate", value=blank.discs_per_plate, formula="layout of the blank plan"),),
    )  # fmt: skip


def _core(work: ElementWork, rates: Rates) -> Operation:
    blank = work.blank
    kerf = _allowance(rates, "core_kerf", work.diameter_mm)
    volume = core_volume_mm3(diameter_mm=blank.diameter_mm, thickness_mm=blank.thickness_mm, kerf_mm=kerf.allowance_mm)
    rate, row, hardness = removal_rate("core", work.glass, rates)
    return line(
        "core", rates, each_min=volume / rate, consumables=row.consumables_per_batch,
        run_basis=(
            Figure(
                name="each", value=volume / rate, unit="min", formula="pi/4 ((d + 2k)^2 - d^2) t / removal rate",
                rate_row=Rates.ref("grinding", row),
                inputs=(Figure(name="k", value=kerf.allowance_mm, unit="mm", rate_row=Rates.ref("allowances", kerf)), hardness),
            ),
        ),
        batch_basis=(Figure(name="pieces", value=1, formula="one at a time"),),
    )  # fmt: skip


def generated_volume_mm3(work: ElementWork) -> float:
    """Glass that generating takes off both faces: blank less lens less the rim that centring takes [mm3]."""
    rim = rim_volume_mm3(blank_diameter_mm=work.blank.diameter_mm, diameter_mm=work.diameter_mm, edge_mm=work.edge_mm)
    return max(work.blank.volume_mm3 - work.finished_volume_mm3 - rim, 0.0)


def _generate(work: ElementWork, face: FaceWork, rates: Rates) -> Operation:
    """Both faces share the volume in the proportion of their depths, with half a millimetre of allowance on each."""
    depths = {one.face: one.sag_mm + 0.5 for one in work.faces}
    share = depths[face.face] / sum(depths.values())
    volume = generated_volume_mm3(work) * share
    rate, row, hardness = removal_rate("generate", work.glass, rates)
    return line(
        "generate", rates, face=face.face, each_min=volume / rate, consumables=row.consumables_per_batch,
        knee=knee_of("generate", work.demands(), rates),
        run_basis=(
            Figure(
                name="each", value=volume / rate, unit="min", formula="(blank - lens - rim) x share of the face / removal rate",
                rate_row=Rates.ref("grinding", row),
                inputs=(
                    Figure(name="blank", value=work.blank.volume_mm3, unit="mm3"),
                    Figure(name="lens", value=work.finished_volume_mm3, unit="mm3"),
                    Figure(name="share of the face", value=share, formula="depth + 0.5 mm of both faces"),
                    hardness,
                ),
            ),
        ),
        batch_basis=(Figure(name="pieces", value=1, formula="one at a time"),),
    )  # fmt: skip


def _block_of(work: ElementWork, face: FaceWork, row: PolishingRow) -> Block:
    return block_for(
        radius_mm=face.radius_mm,
        convex=face.convex,
        diameter_mm=work.blank.diameter_mm,
        edge_mm=work.edge_mm,
        irregularity_fringes=face.irregularity_fringes,
        aspheric=face.aspheric,
        row=row,
    )


def _grind_and_polish(work: ElementWork, face: FaceWork, rates: Rates) -> Iterator[Operation]:
    on_block = polishing_for(rates, work.glass, "block")
    block = _block_of(work, face, on_block)
    method = "single" if block.lenses == 1 else "block"
    row = polishing_for(rates, work.glass, method)
    shared = (_block_figure(block, face, on_block),)
    yield line("block", rates, face=face.face, batch_size=block.lenses, batch_basis=shared)
    yield _fine_grind(work, face, block, method, rates)
    yield _polish(work, face, block, method, row, rates)
    yield line("deblock", rates, face=face.face, batch_size=block.lenses, batch_basis=shared)


def _block_figure(block: Block, face: FaceWork, row: PolishingRow) -> Figure:
    formula = {
        "spherical block": "6 (R/d)^2 (1 - cos g) - 1/2, rounded down",
        "flat block": "best packing of N in D/d up to 20, then 3/4 (D/d)^2 - 1/2",
    }.get(block.rule, block.rule)
    inputs = [Figure(name="d", value=block.pitch_mm, unit="mm", formula="blank diameter + gap, or what its back corner needs")]
    if face.radius_mm is not None:
        inputs += [Figure(name="R", value=face.radius_mm, unit="mm"), Figure(name="g", value=block.half_angle_deg, unit="deg")]
    return Figure(
        name="lenses per block", value=block.lenses, formula=formula, inputs=tuple(inputs), rate_row=Rates.ref("polishing", row)
    )


def _fine_grind(work: ElementWork, face: FaceWork, block: Block, method: str, rates: Rates) -> Operation:
    generator = grinding_row(rates, "generate")
    rungs, softness = ladder(
        work.glass, method=method, first_grit_um=generator.grit_um, first_damage_multiple=generator.damage_multiple, rates=rates
    )
    return line(
        "fine_grind", rates, face=face.face, method=method, batch_size=block.lenses, run_min=sum(rung.minutes for rung in rungs),
        consumables=sum((rung.row.consumables_per_batch for rung in rungs), Decimal(0)), knee=knee_of("fine_grind", work.demands(), rates),
        run_basis=(
            Figure(
                name="run", value=sum(rung.minutes for rung in rungs), unit="min", formula="sum over grits of change-over + removal / (rate x factor of the glass)",
                inputs=(
                    softness,
                    *(
                        Figure(name=f"removal by {rung.row.name}", value=rung.removal_um, unit="um", formula="damage multiple x grit before",
                               rate_row=Rates.ref("grinding", rung.row))
                        for rung in rungs
                    ),
                ),
            ),
        ),
        batch_basis=(Figure(name="lenses per block", value=block.lenses, formula=block.rule),),
    )  # fmt: skip


def _polish(work: ElementWork, face: FaceWork, block: Block, method: str, row: PolishingRow, rates: Rates) -> Operation:
    last_grit = grit_rows(rates, method)[-1]
    removal = row.stock_multiple * last_grit.grit_um
    removing = polishing_min(
        removal_um=removal,
        preston_coefficient_per_pa=row.preston_coefficient_per_pa,
        pressure_pa=row.pressure_pa,
        speed_m_per_s=row.speed_m_per_s,
    )
    loops = figuring_loops(start_fringes=row.start_figure_fringes, target_fringes=face.irregularity_fringes)
    figuring = figuring_min(loops=loops, measure_min=row.measure_min, correct_min=row.correct_min)
    ref = Rates.ref("polishing", row)
    return line(
        "polish", rates, face=face.face, method=method, batch_size=block.lenses, run_min=removing + figuring,
        consumables=row.consumables_per_batch, knee=knee_of("polish", (*face.demands(), *work.demands()), rates),
        run_basis=(
            Figure(
                name="run", value=removing + figuring, unit="min", formula="removal / (Kp x pressure x speed) + figuring",
                inputs=(
                    Figure(name="removal", value=removal, unit="um", formula="stock multiple x last grit", rate_row=ref,
                           inputs=(Figure(name="last grit", value=last_grit.grit_um, unit="um", rate_row=Rates.ref("grinding", last_grit)),)),
                    Figure(name="Kp", value=row.preston_coefficient_per_pa, unit="1/Pa", rate_row=ref),
                    Figure(name="pressure", value=row.pressure_pa, unit="Pa", rate_row=ref),
                    Figure(name="speed", value=row.speed_m_per_s, unit="m/s", rate_row=ref),
                    Figure(name="figuring", value=figuring, unit="min", formula="loops x measure + (loops - 1) x correct", rate_row=ref,
                           inputs=(Figure(name="loops", value=loops, formula="1 + log2(start figure / irregularity), rounded up"),
                                   Figure(name="irregularity", value=face.irregularity_fringes, unit="fringe"))),
                ),
            ),
        ),
        batch_basis=(_block_figure(block, face, polishing_for(rates, work.glass, "block")),),
    )  # fmt: skip


def _centre(work: ElementWork, rates: Rates) -> Iterator[Operation]:
    method = "bell" if work.centring_z >= SELF_CENTRING_Z else "optical"
    volume = rim_volume_mm3(blank_diameter_mm=work.blank.diameter_mm, diameter_mm=work.diameter_mm, edge_mm=work.edge_mm)
    rate, row, hardness = removal_rate("generate", work.glass, rates)
    yield line(
        "centre", rates, method=method, each_min=volume / rate, consumables=row.consumables_per_batch,
        knee=knee_of("centre", work.demands(), rates),
        run_basis=(
            Figure(
                name="each", value=volume / rate, unit="min", formula="pi/4 (D_b^2 - D^2) ET / removal rate", rate_row=Rates.ref("grinding", row),
                inputs=(
                    Figure(name="ET", value=work.edge_mm, unit="mm"),
                    Figure(name="Z", value=work.centring_z, formula="|D1/R1 - D2/R2|; below 0.56 centred optically"),
                    hardness,
                ),
            ),
        ),
        batch_basis=(Figure(name="pieces", value=1, formula="one at a time"),),
    )  # fmt: skip
    yield line("bevel", rates)


def _coat(work: ElementWork, face: FaceWork, rates: Rates) -> Operation:
    assert face.coating is not None
    row = rates.coating(face.coating)
    size = seats(row, diameter_mm=work.diameter_mm)
    ref = Rates.ref("coatings", row)
    return line(
        "coat", rates, face=face.face, batch_size=max(size, 1), run_min=cycle_min(row), consumables=row.run_consumables,
        run_basis=(
            Figure(
                name="run", value=cycle_min(row), unit="min", formula="load + pump + heat + layers + cool + vent + unload", rate_row=ref,
                inputs=(Figure(name="layers", value=deposition_min(row), unit="min", formula="sum of thickness / rate"),),
            ),
        ),
        batch_basis=(
            Figure(name="seats", value=size, formula="calottes x circles of diameter + rim in the calotte - witness pieces", rate_row=ref),
        ),
    )  # fmt: skip
