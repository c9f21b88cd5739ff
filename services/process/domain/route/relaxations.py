"""What becomes of a route when a figure is another: operations that change, fall away or are added."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher
from operator import attrgetter

from services.optics.dispersion import Dispersion
from services.process.domain.coating.choice import simpler_coating
from services.process.domain.element_work import ElementWork
from services.process.domain.route.element import ElementLines
from services.process.domain.route.knees import Demand, next_looser
from services.process.domain.route.lens import LENS, group_name, group_route, lens_route
from services.process.domain.route.lines import Line
from services.process.domain.route.rate_rows import tolerance_row
from shared_schemas.operation_kinds import operations_that
from shared_schemas.operations import STATED_IF_CHANGED, AddedOperation, Face, LooserOperation, Operation, Relaxation, Route
from shared_schemas.prescription import Prescription
from shared_schemas.rates import Rates

Step = Line | Operation

ALWAYS = ("batch_size", "batch_min", "piece_min", "yield_share")
"""What is told of every operation that changes."""
FIELDS = tuple(name for name in Operation.model_fields if name != "basis")

REPEATED = frozenset(operations_that(lambda kind: kind.repeated))


def _key(step: Step) -> tuple[object, ...]:
    """What makes an operation the same one: its method only where a route has the operation several times."""
    return step.operation, step.face, step.shared_run, step.ways, step.method if step.operation in REPEATED else None


_all = attrgetter(*ALWAYS, *STATED_IF_CHANGED)


@dataclass(frozen=True)
class RouteChanges:
    """The difference of two routes; positions count in the one before."""

    operations: tuple[LooserOperation, ...] = ()
    removed: tuple[int, ...] = ()
    added: tuple[AddedOperation, ...] = ()

    def __bool__(self) -> bool:
        """Whether anything changes."""
        return bool(self.operations or self.removed or self.added)


def route_changes(before: Sequence[Step], after: Sequence[Step]) -> RouteChanges:
    """How one route comes from another.

    Notes: an operation stays the same one while its name, face and shared run do, whatever becomes of its method and figures
    (cleaning and inspection, which a route has several times, are told apart by method); what has no counterpart in its place is removed, or added.
    """
    old, new = [*map(_key, before)], [*map(_key, after)]
    if old == new:
        return RouteChanges(operations=tuple(_changed(before, after, 0, 0, len(old))))
    changed: list[LooserOperation] = []
    removed: list[int] = []
    added: list[AddedOperation] = []
    for tag, start, end, first, last in SequenceMatcher(None, old, new, autojunk=False).get_opcodes():
        if tag == "equal":
            changed += _changed(before, after, start, first, end - start)
        else:
            removed += range(start, end)
            added += (AddedOperation(position=end, operation=bare(after[i])) for i in range(first, last))
    return RouteChanges(tuple(changed), tuple(removed), tuple(added))


def _changed(before: Sequence[Step], after: Sequence[Step], start: int, first: int, count: int) -> list[LooserOperation]:
    found = []
    for i in range(count):
        old, new = before[start + i], after[first + i]
        if new is not old and _all(new) != _all(old):
            others = {name: getattr(new, name) for name in STATED_IF_CHANGED if getattr(new, name) != getattr(old, name)}
            figures = {name: getattr(new, name) for name in ALWAYS}
            found.append(LooserOperation(position=start + i, **figures, **others))
    return found


def bare(step: Step) -> Operation:
    """An operation without its basis, as nobody asks why of what is only offered; only a step of the shop's own has charge and wait."""
    return Operation(**{name: getattr(step, name) for name in FIELDS if hasattr(step, name)})


Group = tuple[ElementWork, ...]


def relaxations_of(work: ElementWork, lines: ElementLines, rates: Rates) -> Iterator[Relaxation]:
    """What each tolerance of an element would change if it were one class looser, and each coating if it were one step simpler.

    Args:
        lines: the element's operations as asked for.

    Notes:
        The same functions work out again, with the looser figure, what the tolerance reaches. What changes nothing is left
        out, as is a tolerance that is commercial already.
    """
    before = tuple(lines)
    asked: list[tuple[Demand, Face | None]] = [(demand, None) for demand in work.demands]
    asked += [(demand, face.face) for face in work.faces for demand in face.demands]
    for demand, face in asked:
        looser = next_looser(tolerance_row(rates, demand.attribute), demand.figure)
        if looser is not None:
            tried = lines.tried_with(work.with_figure(demand.attribute, face, looser), demand.attribute, face, rates)
            yield from _relaxation(work.name, demand, looser, before, tuple(tried), rates)
    yield from _coatings(work, lines, before, rates)


def relaxations_of_groups(
    groups: Sequence[Group], routes: Sequence[Route], rates: Rates, *, blackened: bool
) -> Iterator[Relaxation]:
    """What the centring of each cemented group would change if it were one class looser, the edges of its elements as they are.

    Args:
        groups: those of more than one element.
        routes: their routes as asked for, in the same order.
    """
    for group, route in zip(groups, routes, strict=True):
        demand = _tightest_centring(group, "cementing_centring")
        looser = next_looser(tolerance_row(rates, "centring"), demand.figure)
        if looser is not None:
            tried = group_route(_no_tighter_than(group, looser), rates, blackened=blackened)
            means = f"cementing {group_name(group)} with no element of it held finer than {looser:g} arcmin"
            yield from _relaxation(group_name(group), demand, looser, route.operations, tried.operations, rates, means)


def relaxations_of_alignment(
    groups: Sequence[Group], prescription: Prescription, route: Route, rates: Rates
) -> Iterator[Relaxation]:
    """What the alignment of the lens would change if it were one class looser, its elements as they are.

    Args:
        route: that of the lens as asked for.
    """
    demand = _tightest_centring([work for group in groups for work in group], "alignment")
    looser = next_looser(tolerance_row(rates, "centring"), demand.figure)
    if looser is not None:
        tried = lens_route([_no_tighter_than(group, looser) for group in groups], prescription, rates)
        means = f"alignment of the lens with no element held finer than {looser:g} arcmin"
        yield from _relaxation(LENS, demand, looser, route.operations, tried.operations, rates, means)


def _relaxation(
    part: str, demand: Demand, looser: float, before: Sequence[Step], after: Sequence[Step], rates: Rates, means: str = ""
) -> Iterator[Relaxation]:  # fmt: skip
    changes = route_changes(before, after)
    if changes:
        attribute = demand.attribute if demand.attribute not in OF_CENTRING else "centring"
        yield Relaxation(
            where=demand.where,
            part=part,
            tolerance=demand.attribute,
            from_figure=demand.figure,
            to_figure=looser,
            unit=tolerance_row(rates, attribute).unit,
            operations=changes.operations,
            removed=changes.removed,
            added=changes.added,
            means=means,
        )


OF_CENTRING = ("cementing_centring", "alignment")
"""What a cemented group and the lens are held to; both follow the tightest centring of their elements, by the same classes."""


def _tightest_centring(works: Sequence[ElementWork], attribute: str) -> Demand:
    tightest = min(works, key=lambda work: work.centring_arcmin)
    (centring,) = (demand for demand in tightest.demands if demand.attribute == "centring")
    return Demand(attribute, centring.figure, centring.where, centring.at)


def _no_tighter_than(group: Group, arcmin: float) -> Group:
    return tuple(replace(work, centring_arcmin=max(work.centring_arcmin, arcmin)) for work in group)


def _coatings(work: ElementWork, lines: ElementLines, before: Sequence[Step], rates: Rates) -> Iterator[Relaxation]:
    for face in work.faces:
        row = face.coating_row(rates)
        if row is None:
            continue
        simpler = simpler_coating(row, asked=face.works(row), glass=Dispersion(work.glass), rates=rates)
        if simpler is None:
            continue
        tried = work.with_face(face.coated_with(simpler.coating))
        changes = route_changes(before, tuple(lines.tried_coated(tried, rates)))
        if changes:
            yield Relaxation(
                where=f"{face.where}/coating",
                part=work.name,
                tolerance="coating",
                from_figure=simpler.from_reflectance,
                to_figure=simpler.to_reflectance,
                unit="%",
                operations=changes.operations,
                removed=changes.removed,
                added=changes.added,
                means=simpler.means,
            )
