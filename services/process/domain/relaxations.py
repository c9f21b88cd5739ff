"""Every tolerance one class looser, and what becomes of the operations then."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from services.process.domain.assembly import LENS, lens_route
from services.process.domain.cementing import group_name, group_route
from services.process.domain.element_work import ElementWork
from services.process.domain.rate_rows import tolerance_row
from services.process.domain.route_changes import Step, route_changes
from services.process.domain.routing import ElementLines
from services.process.domain.simpler_coating import simpler_coating
from services.process.domain.tolerance_knees import Demand, next_looser
from shared_schemas.operations import Face, Relaxation, Route
from shared_schemas.prescription import Prescription
from shared_schemas.rates import Rates

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
    return Demand(attribute, centring.figure, centring.where)


def _no_tighter_than(group: Group, arcmin: float) -> Group:
    return tuple(replace(work, centring_arcmin=max(work.centring_arcmin, arcmin)) for work in group)


def _coatings(work: ElementWork, lines: ElementLines, before: Sequence[Step], rates: Rates) -> Iterator[Relaxation]:
    for face in work.faces:
        found = simpler_coating(work, face, rates)
        if found is None:
            continue
        tried = work.with_face(replace(face, coating=found.coating))
        changes = route_changes(before, tuple(lines.tried_coated(tried, rates)))
        if changes:
            yield Relaxation(
                where=f"{face.where}/coating",
                part=work.name,
                tolerance="coating",
                from_figure=found.from_reflectance,
                to_figure=found.to_reflectance,
                unit="%",
                operations=changes.operations,
                removed=changes.removed,
                added=changes.added,
                means=found.means,
            )
