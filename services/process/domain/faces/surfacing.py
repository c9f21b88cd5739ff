"""Blocking, fine grinding, polishing, deblocking: the work that lenses of one block share."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Literal

from services.optics.law import decided, figure_of, given, law
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.faces.block import Block, Singly, bending_of, bends_on_block, block_that_fits
from services.process.domain.faces.block_figures import bending_figure, block_figure
from services.process.domain.faces.fine_grinding import ladder
from services.process.domain.faces.polishing import lightly, polishing_of
from services.process.domain.route.extra_work import Extra, Per
from services.process.domain.route.knees import Knee, knee_of, time_factor
from services.process.domain.route.lines import Line, Minutes, Spent, Work, line, minutes_in_all
from services.process.domain.route.rate_rows import grinding_row, grit_rows, polishing_for
from services.process.domain.route.work_centres import can_take, choose_centre
from shared_schemas.figure import Figure
from shared_schemas.operation_kinds import OperationName
from shared_schemas.rates import RateMissing, Rates

WORTH_ASKING = 1.2
"""Runs of a full block from which on it is asked all the same."""

BY_SPINDLE: tuple[OperationName, ...] = ("fine_grind", "polish")
"""Operations that spindles do to a lens that is worked singly."""


MACHINED: tuple[OperationName, ...] = ("generate", "fine_grind", "polish")
"""Operations that machines for volume do to one lens after the other."""

FaceOption = Literal["block", "single", "volume"]
SINGLY: dict[FaceOption, Singly] = {"single": "on a spindle", "volume": "by volume"}


def options_for(work: ElementWork, face: FaceWork, rates: Rates, *, worked_first: bool) -> tuple[FaceOption, ...]:
    """The ways in which a face can be worked: those that its shape allows and machines take; at least one."""
    blocked = block_that_fits(work, face, rates, worked_first=worked_first).lenses > 1
    singly = _all_take(BY_SPINDLE, "single", work, rates)
    options: list[FaceOption] = []
    if blocked or not singly:
        options.append("block")
    if singly:
        options.append("single")
    if _by_volume(work, face, rates):
        options.append("volume")
    return tuple(options)


def _all_take(operations: Sequence[OperationName], method: str, work: ElementWork, rates: Rates) -> bool:
    """Whether there are machines of a method that work a lens of the diameter."""
    return all(can_take(rates, step, method, work.blank.diameter_mm) for step in operations)


def _by_volume(work: ElementWork, face: FaceWork, rates: Rates) -> bool:
    """Whether machines for volume take the face: a sphere, a plane or what is hardly another shape, of a glass that the rates have rows for."""
    if face.made_aspheric or not _all_take(MACHINED, "volume", work, rates):
        return False
    try:
        polishing_for(rates, work.glass, "volume")
    except RateMissing:
        return False
    return any(row.stage == "fine_grind" and row.method == "volume" for row in rates.grinding)


def surface(work: ElementWork, face: FaceWork, option: FaceOption, rates: Rates, *, worked_first: bool) -> Iterator[Line]:
    """Grind and polish one face in one way: on a block with others, singly on spindles, or on machines for volume.

    Notes: machines for volume take the lens in a collet, where nothing is blocked.
    """
    block = block_that_fits(work, face, rates, worked_first=worked_first)
    if option != "block":
        block = replace(block, lenses=1, singly=block.singly or SINGLY[option])
    if option == "volume":
        alone = Work(batch_size=1, why_size=lambda: decided("batch_size", 1, "one after the other in a collet"))
        yield _fine_grind(work, face, alone, option, rates)
        yield _polish(work, face, alone, option, rates)
    else:
        yield from _steps(work, face, block, option, rates, worked_first=worked_first)


def _steps(work: ElementWork, face: FaceWork, block: Block, method: str, rates: Rates, *, worked_first: bool) -> Iterator[Line]:
    """The steps on a block, or on spindles."""
    shared = Work(batch_size=block.lenses, why_size=lambda: decided("batch_size", block.lenses, "the lenses of the block"))
    blocked = replace(
        shared,
        why_size=lambda: block_figure(work, face, block, rates, worked_first=worked_first),
        remarks=lambda: (_resting_on(work, face, worked_first=worked_first),),
    )
    extra = work.extra_work.on_face("block", method, worked_first=worked_first)
    blocked = _softly(work, blocked, "block", method, extra, rates)
    yield line("block", rates, blocked, face=face.face, method=method, extra=extra, at=choose_centre(rates, "block", method))
    yield _fine_grind(work, face, shared, method, rates)
    yield _polish(work, face, shared, method, rates)
    extra = work.extra_work.on_face("deblock", method, worked_first=worked_first)
    freed = _softly(work, shared, "deblock", method, extra, rates)
    yield line("deblock", rates, freed, face=face.face, method=method, extra=extra, at=choose_centre(rates, "deblock", method))


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
    centre = choose_centre(rates, operation, method).row

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
    grits = ladder(
        work.glass, method=method, after=grinding_row(rates, "generate", method="volume" if method == "volume" else ""), rates=rates
    )
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
