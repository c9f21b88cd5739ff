"""The routes of cemented groups and of the lens itself: cementing, mounting, engraving, alignment, test, packing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from services.optics.law import column, decided, figure_of, given, law
from services.process.domain.element_work import ElementWork
from services.process.domain.route.inspection import first_article, inspect_group
from services.process.domain.route.knees import NO_KNEE, Knee, knee_of
from services.process.domain.route.lines import Line, Minutes, Spent, Work, counted_min, line, lot_of, minutes_in_all
from services.process.domain.route.looks import look_before_cementing
from services.process.domain.route.own_work import on_assembly, on_doublet
from services.process.domain.route.rate_rows import cementing_for
from services.process.domain.route.washing import wash
from shared_schemas.figure import Figure
from shared_schemas.operation_kinds import OperationName
from shared_schemas.operations import Consumed, Operation, Route
from shared_schemas.prescription import Prescription
from shared_schemas.rates import AssemblyRow, CementingRow, RateMissing, Rates


def group_name(elements: tuple[ElementWork, ...]) -> str:
    """A group is called by its elements, each by the first of its kind: `L1+L2`; groups that are alike have one name."""
    return "+".join(work.part for work in elements)


def consumed(parts: Iterable[str]) -> tuple[Consumed, ...]:
    """The parts that go into another, in their order; what goes in several times is counted."""
    return tuple(Consumed(part=part, count=count) for part, count in Counter(parts).items())


def group_route(elements: tuple[ElementWork, ...], rates: Rates, *, blackened: bool) -> Route:
    """Clean and look again, join, cure, blacken the edge for a barrel, inspect.

    The tightest centring of the elements says how they are joined.
    """
    tightest = min(elements, key=lambda work: work.centring_arcmin)
    row = cementing_for(rates, tightest.centring_arcmin)
    return Route(
        part=group_name(elements),
        kind="cemented_group",
        consumes=consumed(work.part for work in elements),
        operations=(
            wash("before cementing", rates, parts=len(elements)).as_operation(),
            *(look.as_operation() for look in look_before_cementing(elements, rates)),
            _join(row, tightest, len(elements) - 1, rates).as_operation(),
            _cure(row, rates),
            *(one.as_operation() for one in on_doublet(rates, elements, "cement")),
            *((line("blacken_edge", rates).as_operation(),) if blackened else ()),
            inspect_group(elements, rates).as_operation(),
            *(one.as_operation() for one in on_doublet(rates, elements, "inspect")),
        ),
    )


def _join(row: CementingRow, tightest: ElementWork, faces: int, rates: Rates) -> Line:
    """Joining, the plainest way that is fine enough for the tightest centring of the group."""
    ref = Rates.ref("cementing", row)

    def why() -> Figure:
        each, count = (
            given("minutes", row.minutes_per_face, "min"),
            given("count", faces, source="the drawing: one between two elements"),
        )
        return figure_of(counted_min, name="each_min", unit="min", rate_row=ref, minutes=each, count=count)

    def way() -> tuple[Figure, ...]:
        at = f"/check{tightest.where}/centring_tolerance_arcmin"
        centring = given("centring, tightest of the group", tightest.centring_arcmin, "arcmin", at=at)
        reason = "the plainest way of cementing that is fine enough for the centring"
        return (decided("way of cementing", row.name, reason, alternatives=[centring], rate_row=ref),)

    work = Work(
        of_piece=Minutes(counted_min(minutes=row.minutes_per_face, count=faces), why),
        for_lot=Minutes(row.setup_min, lambda: column("set-up of cementing", row.setup_min, "min", ref)),
        spent=(Spent(row.consumables_per_piece, ref),),
        remarks=way,
    )
    return line("cement", rates, work)


def _cure(row: CementingRow, rates: Rates) -> Operation:
    """Under the lamp, unattended but for loading. The loss of cementing is in the join; curing loses nothing more."""
    ref = Rates.ref("cementing", row)
    work = Work(
        of_batch=Minutes(row.cure_min, lambda: column("cure_min", row.cure_min, "min", ref)),
        batch_size=row.cure_batch,
        why_size=lambda: column("batch_size", row.cure_batch, "", ref),
        attended=Minutes(row.cure_attended_share, lambda: column("attended_share", row.cure_attended_share, "", ref)),
    )
    join = replace(line("cement", rates, work), setup_min=0.0, yield_share=1.0, batch_loss=0.0)
    cure = replace(join, rework_share=0.0, rework_yield=0.0, rework_min=0.0).as_operation()
    at_the_join = "counted at the joining before, which this completes"
    of_join = {
        "setup_min": decided("setup_min", 0.0, at_the_join, unit="min"),
        "yield": decided("yield", 1.0, at_the_join),
    }
    basis = (*(of_join.get(one.name, one) for one in cure.basis), decided("batch_loss", 0.0, at_the_join))
    return cure.model_copy(update={"basis": basis})


LENS = "lens"


def lens_route(groups: Sequence[tuple[ElementWork, ...]], prescription: Prescription, rates: Rates) -> Route:
    """Route of the lens. Without a barrel the parts are packed as they are.

    Metal is engraved before anything is mounted in it, and all parts are cleaned. The tightest centring says how long aligning takes.
    """
    counts = _counts(groups, prescription)
    lines: list[Line] = []
    elements = [work for group in groups for work in group]
    if prescription.barrel is not None:
        if counts["character"]:
            lines.append(_step("engrave", counts, rates))
        lines += [wash("before assembly", rates, parts=len(groups)), _step("assemble", counts, rates)]
        lines += on_assembly(rates, elements, "assemble")
        tightest = _tightest(groups)
        knee = knee_of("align", tuple(one for one in tightest.demands if one.attribute == "centring"), rates)
        lines += [_step("align", counts, rates, knee, tightest.centring_arcmin), *on_assembly(rates, elements, "align")]
        lines += [_step("final_test", counts, rates), *on_assembly(rates, elements, "final_test")]
    if prescription.first_article:
        lines.append(first_article(counts["element"], rates))
    lines += [_step("pack", counts, rates), *on_assembly(rates, elements, "pack")]
    return Route(
        part=LENS,
        kind="lens",
        consumes=consumed(group_name(group) for group in groups),
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
    counted = [Counted(row, counts[row.per]) for row in rows if row.per != "lot" and counts[row.per]]
    minutes = minutes_in_all(parts_min=[one.minutes for one in counted])
    attended = minutes_in_all(parts_min=[one.minutes * one.row.attended_share for one in counted])

    def why() -> Figure:
        return figure_of(minutes_in_all, name="each_min", unit="min", parts_min=[one.figure() for one in counted])

    def why_attended() -> Figure:
        parts = [figure_of(counted_min, name=one.row.name, unit="min", rate_row=Rates.ref("assembly", one.row),
                           minutes=one.figure(), count=given("count", one.row.attended_share)) for one in counted]  # fmt: skip
        there = figure_of(minutes_in_all, name="attended_min", unit="min", parts_min=parts)
        return figure_of(share_of_minutes, name="attended_share", unit="", attended_min=there, minutes=why())

    share = share_of_minutes(attended_min=attended, minutes=minutes) if minutes else 1.0
    per_lot = [row for row in rows if row.per == "lot"]
    work = Work(
        of_piece=Minutes(minutes, why),
        for_lot=lot_of([(row.name, row.minutes, Rates.ref("assembly", row)) for row in per_lot]),
        attended=Minutes(share, why_attended if minutes else lambda: decided("attended_share", 1.0, "no time of its own")),
    )
    return line(operation, rates, work, knee=knee)


@law
def share_of_minutes(*, attended_min: float, minutes: float) -> float:
    """Share of the minutes of an operation that a person is there.

    Equation: attended_min / minutes
    """
    return attended_min / minutes


@dataclass(frozen=True)
class Counted:
    """A step of assembly and how often one lens has what it is counted by."""

    row: AssemblyRow
    count: int

    @property
    def minutes(self) -> float:
        """Minutes of all of them."""
        return counted_min(minutes=self.row.minutes, count=self.count)

    def figure(self) -> Figure:
        """The minutes as a figure."""
        minutes = given("minutes", self.row.minutes, f"min/{self.row.per}")
        count = given("count", self.count, source=f"the drawing: each {self.row.per}")
        return figure_of(
            counted_min, name=self.row.name, unit="min", rate_row=Rates.ref("assembly", self.row), minutes=minutes, count=count
        )
