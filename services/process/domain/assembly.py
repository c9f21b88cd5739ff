"""The route of the lens itself: kitting, mounting, engraving, alignment, test, packing."""

from __future__ import annotations

from collections.abc import Sequence

from services.process.domain.cementing import group_name
from services.process.domain.element_work import ElementWork
from services.process.domain.operation_lines import NO_KNEE, Line, line, of_same_row
from services.process.domain.tolerance_knees import Knee, knee_of
from shared_schemas.figure import Figure
from shared_schemas.operations import Consumed, OperationName, Route
from shared_schemas.prescription import Prescription
from shared_schemas.rates import AssemblyRow, RateMissing, Rates

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
