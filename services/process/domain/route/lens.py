"""The routes of cemented groups and of the lens itself: cementing, mounting, engraving, alignment, test, packing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from services.process.domain.element_work import ElementWork
from services.process.domain.route.inspection import inspect_group
from services.process.domain.route.knees import Knee, knee_of
from services.process.domain.route.lines import NO_KNEE, Line, line, of_same_row
from services.process.domain.route.rate_rows import cementing_for
from shared_schemas.figure import Figure
from shared_schemas.operation_kinds import OperationName
from shared_schemas.operations import Consumed, Operation, Route
from shared_schemas.prescription import Prescription
from shared_schemas.rates import AssemblyRow, CementingRow, RateMissing, Rates


def group_name(elements: tuple[ElementWork, ...]) -> str:
    """A group is called by its elements: `L1+L2`."""
    return "+".join(work.name for work in elements)


def group_route(elements: tuple[ElementWork, ...], rates: Rates, *, blackened: bool) -> Route:
    """Clean, join, cure, blacken the edge for a barrel, inspect. The tightest centring of the elements says how they are joined."""
    tightest = min(work.centring_arcmin for work in elements)
    row = cementing_for(rates, tightest)
    return Route(
        part=group_name(elements),
        kind="cemented_group",
        consumes=tuple(Consumed(part=work.name) for work in elements),
        operations=(
            line("clean", rates).as_operation(),
            _join(row, tightest, len(elements) - 1, rates).as_operation(),
            _cure(row, rates),
            *((line("blacken_edge", rates).as_operation(),) if blackened else ()),
            inspect_group(elements, rates).as_operation(),
        ),
    )


def _join(row: CementingRow, centring_arcmin: float, faces: int, rates: Rates) -> Line:
    minutes = row.minutes_per_face * faces

    def why() -> tuple[Figure, ...]:
        ref = Rates.ref("cementing", row)
        inputs = (
            of_same_row("minutes per face", row.minutes_per_face, "min"),
            Figure(name="faces", value=faces, source="the prescription: one between two elements"),
            Figure(name="centring", value=centring_arcmin, unit="arcmin", source="the check report, tightest of the group"),
        )
        formula = "minutes per face x faces; the plainest way that is fine enough for the centring"
        return (Figure(name="each", value=minutes, unit="min", formula=formula, inputs=inputs, rate_row=ref),)

    return line(
        "cement", rates, each_min=minutes, extra_setup_min=row.setup_min, consumables=row.consumables_per_piece, run_basis=why
    )


def _cure(row: CementingRow, rates: Rates) -> Operation:
    """Under the lamp, unattended but for loading. The loss of cementing is in the join; curing loses nothing more."""
    ref = Rates.ref("cementing", row)
    cure = line(
        "cement", rates, batch_size=row.cure_batch, run_min=row.cure_min, attended_share=row.cure_attended_share,
        run_basis=lambda: (Figure(name="run", value=row.cure_min, unit="min", formula="full cure", rate_row=ref),),
        batch_basis=lambda: Figure(name="batch_size", value=row.cure_batch, rate_row=ref),
    )  # fmt: skip
    done = replace(cure, setup_min=0.0, yield_share=1.0, batch_loss=0.0).as_operation()
    return done.model_copy(update={"basis": done.basis[1:3]})


LENS = "lens"


def lens_route(groups: Sequence[tuple[ElementWork, ...]], prescription: Prescription, rates: Rates) -> Route:
    """Route of the lens. Without a barrel the parts are packed as they are. The tightest centring says how long aligning takes."""
    counts = _counts(groups, prescription)
    lines: list[Line] = []
    if prescription.barrel is not None:
        lines.append(_step("assemble", counts, rates))
        if counts["character"]:
            lines.append(_step("engrave", counts, rates))
        tightest = _tightest(groups)
        knee = knee_of("align", tuple(one for one in tightest.demands if one.attribute == "centring"), rates)
        lines += [_step("align", counts, rates, knee, tightest.centring_arcmin), _step("final_test", counts, rates)]
    lines.append(_step("pack", counts, rates))
    return Route(
        part=LENS,
        kind="lens",
        consumes=tuple(Consumed(part=group_name(group)) for group in groups),
        operations=tuple(step.as_operation() for step in lines),
    )


def _counts(groups: Sequence[tuple[ElementWork, ...]], prescription: Prescription) -> dict[str, int]:
    """How often each thing that a row may be counted by is there in one lens."""
    return {
        "lens": 1,
        "part": len(groups),
        "space": len(groups) - 1,
        "element": sum(len(group) for group in groups),
        "character": prescription.barrel.engraved_characters if prescription.barrel else 0,
        "wavefront": int(prescription.transmitted_wavefront is not None),
    }


def _tightest(groups: Sequence[tuple[ElementWork, ...]]) -> ElementWork:
    return min((work for group in groups for work in group), key=lambda work: work.centring_arcmin)


def steps_for(operation: OperationName, rates: Rates, *, centring_arcmin: float = float("inf")) -> list[AssemblyRow]:
    """The rows of an operation; of those that reach a fineness only the plainest that is fine enough.

    Raises: RateMissing where there is none at all, or none fine enough.
    """
    rows = [row for row in rates.assembly if row.operation == operation]
    reaching = {row.finest_centring_arcmin for row in rows if row.finest_centring_arcmin is not None}
    enough = [finest for finest in reaching if finest <= centring_arcmin]
    if not rows or (reaching and not enough):
        wanted = f"{operation} to {centring_arcmin:g} arcmin" if rows else operation
        raise RateMissing("assembly", wanted, tuple(row.name for row in rates.assembly))
    return [row for row in rows if row.finest_centring_arcmin is None or row.finest_centring_arcmin == max(enough)]


def _step(
    operation: OperationName, counts: dict[str, int], rates: Rates, knee: Knee = NO_KNEE, centring_arcmin: float = float("inf")
) -> Line:
    rows = steps_for(operation, rates, centring_arcmin=centring_arcmin)
    per_lens = [row for row in rows if row.per != "lot"]
    minutes = sum(row.minutes * counts[row.per] for row in per_lens)
    attended = sum(row.minutes * counts[row.per] * row.attended_share for row in per_lens)

    def why() -> tuple[Figure, ...]:
        inputs = tuple(_counted(row, counts) for row in per_lens if counts[row.per])
        return (Figure(name="each", value=minutes, unit="min", formula="sum of minutes x count", inputs=inputs),)

    return line(
        operation, rates, each_min=minutes, extra_setup_min=sum(row.minutes for row in rows if row.per == "lot"),
        attended_share=attended / minutes if minutes else 1.0, knee=knee, run_basis=why,
    )  # fmt: skip


def _counted(row: AssemblyRow, counts: dict[str, int]) -> Figure:
    count = counts[row.per]
    return Figure(
        name=row.name, value=row.minutes * count, unit="min", formula=f"minutes x {count}", rate_row=Rates.ref("assembly", row),
        inputs=(of_same_row("minutes", row.minutes, f"min/{row.per}"),),
    )  # fmt: skip
