"""Blocking, fine grinding, polishing, deblocking: the work that lenses of one block share."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from services.optics.law import decided, figure_of, given, law
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.faces.block import Block, bending_of, bends_on_block, block_that_fits
from services.process.domain.faces.block_figures import bending_figure, block_figure
from services.process.domain.faces.fine_grinding import ladder
from services.process.domain.faces.polishing import lightly, polishing_of, runs_until_good
from services.process.domain.route.extra_work import Extra, Per
from services.process.domain.route.knees import Knee, knee_of, time_factor
from services.process.domain.route.lines import Line, Minutes, Spent, Work, line, minutes_in_all
from services.process.domain.route.rate_rows import can_take, grinding_row, grit_rows, polishing_for, work_centre_for
from services.shop.minutes import per_minute
from shared_schemas.figure import Figure
from shared_schemas.operation_kinds import OperationName
from shared_schemas.rates import Rates

FEW = 12
"""Lenses on a block up to which it is asked whether singly they would cost less; above, the block is taken without asking, as is
common practice, though rates could be written with which it would not pay."""

WORTH_ASKING = 1.2
"""Runs of a full block from which on it is asked all the same."""

BY_SPINDLE: tuple[OperationName, ...] = ("fine_grind", "polish")
"""Operations that spindles do to a lens that is worked singly."""


def block_of(work: ElementWork, face: FaceWork, rates: Rates, *, worked_first: bool) -> Block:
    """The block that a face is worked on; behind the one worked first stands the blank as it was cut or pressed.

    Notes: an element that bends is blocked softly, with fewer lenses than a block would hold.
    Where a block holds few, a full one is held against as many lenses worked singly, and the cheaper way is taken.
    """
    block = block_that_fits(work, face, rates, worked_first=worked_first)
    if block.lenses == 1 or not _a_spindle_takes(work, rates):
        return block
    if block.lenses > FEW and runs_until_good(polishing_for(rates, work.glass, "block"), face.irregularity_fringes) < WORTH_ASKING:
        return block
    alone = replace(block, lenses=1, singly="dearer", held=block.lenses)
    costs = [_cost_of_one(_steps(work, face, way, rates, worked_first=worked_first)) for way in (alone, block)]
    return replace(alone, costs=(costs[0], costs[1])) if costs[0] < costs[1] else block


def grind_and_polish(work: ElementWork, face: FaceWork, rates: Rates, *, worked_first: bool) -> Iterator[Line]:
    """Block, fine grind, polish and deblock one face; singly where the block holds one and a spindle takes it."""
    return _steps(work, face, block_of(work, face, rates, worked_first=worked_first), rates, worked_first=worked_first)


def _a_spindle_takes(work: ElementWork, rates: Rates) -> bool:
    """Whether there are spindles that work a lens of the diameter singly."""
    return all(can_take(rates, step, "single", work.blank.diameter_mm) for step in BY_SPINDLE)


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
    shared = Work(batch_size=block.lenses, why_size=lambda: decided("batch_size", block.lenses, "the lenses of the block"))
    blocked = replace(
        shared,
        why_size=lambda: block_figure(work, face, block, rates, worked_first=worked_first),
        remarks=lambda: (_resting_on(work, face, worked_first=worked_first),),
    )
    extra = work.extra_work.on_face("block", method, worked_first=worked_first)
    blocked = _softly(work, blocked, "block", method, extra, rates)
    yield line("block", rates, blocked, face=face.face, method=method, extra=extra)
    yield _fine_grind(work, face, shared, method, rates)
    yield _polish(work, face, shared, method, rates)
    extra = work.extra_work.on_face("deblock", method, worked_first=worked_first)
    freed = _softly(work, shared, "deblock", method, extra, rates)
    yield line("deblock", rates, freed, face=face.face, method=method, extra=extra)


@law
def held_gently_min(*, minutes: float, bending_factor: float) -> float:
    """Minutes [min] that an element which bends takes besides the usual ones.

    Equation: minutes * (bending_factor - 1)
    """
    return minutes * (bending_factor - 1)


def _softly(work: ElementWork, usual: Work, operation: OperationName, method: str, extra: Extra, rates: Rates) -> Work:
    """Blocking or deblocking of an element that bends: longer than the usual minutes of the bench, for the block and for each lens."""
    row = polishing_for(rates, work.glass, method)
    if not bends_on_block(work, row):
        return usual
    centre = work_centre_for(rates, operation, method)

    def gently(own_min: float, per: Per) -> Minutes:
        minutes = minutes_in_all(parts_min=(own_min, *extra.minutes(per)))

        def why() -> Figure:
            shown = given("minutes", minutes, "min", source="the usual minutes, as shown beside")
            return figure_of(
                held_gently_min, name="held gently", unit="min", minutes=shown, bending_factor=bending_figure(work, row)
            )

        return Minutes(held_gently_min(minutes=minutes, bending_factor=bending_of(work, row)), why)

    return replace(usual, of_batch=gently(centre.cycle_min, "batch"), of_piece=gently(centre.load_min_per_piece, "piece"))


def _resting_on(work: ElementWork, face: FaceWork, *, worked_first: bool) -> Figure:
    """What lies on the block: the raw other face for the face worked first, the finished one for the second."""
    other = "back" if face.face == "front" else "front"
    value = f"the {other} as it is on the blank" if worked_first else f"the {other}, finished"
    return decided("rests on", value, work.order.reason, source="common practice")


def _fine_grind(work: ElementWork, face: FaceWork, shared: Work, method: str, rates: Rates) -> Line:
    grits = ladder(work.glass, method=method, after=grinding_row(rates, "generate"), rates=rates)
    ground = replace(
        shared,
        of_batch=Minutes(grits.minutes, grits.figure),
        spent=tuple(Spent(rung.row.consumables_per_batch, Rates.ref("grinding", rung.row)) for rung in grits.rungs),
    )
    return line(
        "fine_grind", rates, ground, face=face.face, method=method, diameter_mm=work.blank.diameter_mm,
        knee=knee_of("fine_grind", work.demands_on(face), rates), extra=work.extra_work.at("fine_grind"),
    )  # fmt: skip


def _polish(work: ElementWork, face: FaceWork, shared: Work, method: str, rates: Rates) -> Line:
    row = polishing_for(rates, work.glass, method)
    polished = replace(
        shared,
        of_batch=lightly(work, row, polishing_of(work, face, row, grit_rows(rates, method)[-1])),
        spent=(Spent(row.consumables_per_batch, Rates.ref("polishing", row)),),
    )
    return line(
        "polish", rates, polished, face=face.face, method=method, diameter_mm=work.blank.diameter_mm,
        knee=_polishing_knee(work, face, rates), extra=work.extra_work.at("polish"),
    )  # fmt: skip


def _polishing_knee(work: ElementWork, face: FaceWork, rates: Rates) -> Knee:
    """What tolerances do to polishing; of a window, which is not centred, the wedge too: its faces are polished parallel."""
    knee = knee_of("polish", work.demands_on(face), rates)
    if not work.is_window:
        return knee
    parallel = knee_of("centre", tuple(one for one in work.demands if one.attribute == "centring"), rates)
    return Knee(
        time_factor(factors=(knee.time_factor, parallel.time_factor)),
        knee.yield_power * parallel.yield_power,
        (*knee.below, *parallel.below),
    )
