"""The barrel: is it wide and long enough for the glass, and can the glass be dropped into it in order?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from services.optics.body import Body
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.prescription import Barrel, Prescription

LEAST_WALL_MM = 1.0
"""Wall of a turned barrel below which it gives way in the chuck and in the thread (common practice)."""

SAME_BORE_MM = 0.05
"""Elements whose diameters differ by less share a bore (common practice)."""


@dataclass(frozen=True)
class _Group:
    """What drops into the barrel as one piece: the widest of cemented elements, with its name, and the first of them."""

    name: str
    diameter_mm: float
    first: int


def held_length_mm(*, prescription: Prescription, bodies: Sequence[Body]) -> float:
    """Distance [mm] from the front edge of the first element to the back edge of the last: what a barrel has to hold.

    Notes: the vertex length, less the sagitta of the first face and plus that of the last, each at its rim.
    Source: derived.
    """
    first, last = bodies[0], bodies[-1]
    return vertex_length_mm(prescription=prescription) - first.front.sag_mm(first.rim_mm) + last.back.sag_mm(last.rim_mm)


def vertex_length_mm(*, prescription: Prescription) -> float:
    """Distance [mm] from the first vertex to the last."""
    glass = sum(element.centre_thickness_mm for element in prescription.elements)
    return glass + sum(space.gap_mm or 0.0 for space in prescription.spaces)


def barrel_findings(*, prescription: Prescription, bodies: Sequence[Body]) -> Iterator[Finding]:
    """Too narrow, thin of wall, too short, glass that stands out, elements that cannot be dropped in."""
    barrel = prescription.barrel
    if barrel is None:
        return
    yield from _width(prescription, barrel)
    yield from _length(prescription, bodies, barrel)
    yield from _order(_groups(prescription))


def _width(prescription: Prescription, barrel: Barrel) -> Iterator[Finding]:
    widest = max(prescription.elements, key=lambda element: element.diameter_mm)
    wall = (barrel.outer_diameter_mm - widest.diameter_mm) / 2
    wanted = widest.diameter_mm + 2 * LEAST_WALL_MM
    where, repair = "/barrel/outer_diameter_mm", f"an outer diameter of at least {wanted:g} mm"
    if wall <= 0:
        message = f"{widest.name} is {widest.diameter_mm:g} mm wide and cannot go into a barrel of {barrel.outer_diameter_mm:g} mm."
        yield finding(
            "barrel-narrow", where, message, figure=barrel.outer_diameter_mm, limit=widest.diameter_mm, unit="mm", remedy=repair
        )
    elif wall < LEAST_WALL_MM:
        message = f"The barrel has a wall of {wall:.3g} mm around {widest.name}; practice asks for {LEAST_WALL_MM:g} mm."
        yield finding("barrel-wall-thin", where, message, figure=wall, limit=LEAST_WALL_MM, unit="mm", remedy=repair)


def _length(prescription: Prescription, bodies: Sequence[Body], barrel: Barrel) -> Iterator[Finding]:
    held, vertices = held_length_mm(prescription=prescription, bodies=bodies), vertex_length_mm(prescription=prescription)
    whole = max(held, vertices)
    where, repair = "/barrel/length_mm", f"a length of at least {whole:.4g} mm"
    if barrel.length_mm < held:
        message = f"The barrel is {barrel.length_mm:g} mm long; from the first edge to the last the lens takes {held:.4g} mm."
        yield finding("barrel-short", where, message, figure=barrel.length_mm, limit=held, unit="mm", remedy=repair)
    elif barrel.length_mm < whole:
        message = f"The barrel is {barrel.length_mm:g} mm long and the lens {whole:.4g} mm: glass stands proud of it, unprotected."
        yield finding("barrel-glass-proud", where, message, figure=barrel.length_mm, limit=whole, unit="mm", remedy=repair)


def _groups(prescription: Prescription) -> tuple[_Group, ...]:
    groups, first = [], 0
    for joined in prescription.cemented_groups():
        widest = max(joined, key=lambda element: element.diameter_mm)
        groups.append(_Group(widest.name, widest.diameter_mm, first))
        first += len(joined)
    return tuple(groups)


def _order(groups: Sequence[_Group]) -> Iterator[Finding]:
    """A stepped bore is loaded from either end: diameters may fall to a waist and rise again, a wider one between cannot go in."""
    for i, group in enumerate(groups[1:-1], start=1):
        before = min(one.diameter_mm for one in groups[:i])
        behind = min(one.diameter_mm for one in groups[i + 1 :])
        passage = max(before, behind)
        if group.diameter_mm > passage + SAME_BORE_MM:
            yield finding(
                "barrel-order", f"/elements/{group.first}/diameter_mm",
                f"{group.name}, {group.diameter_mm:g} mm wide, has narrower glass on both sides and cannot be dropped into a stepped bore from either end.",
                figure=group.diameter_mm, limit=passage, unit="mm", remedy=f"a diameter of at most {passage:g} mm, wider neighbours, or a split barrel",
            )  # fmt: skip
