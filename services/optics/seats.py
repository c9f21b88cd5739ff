"""Neighbours whose rims would touch: the air between two faces, and the flat seats that keep them apart."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Literal

from services.optics.body import Body, air_gap_mm, body
from services.optics.surface import Profile
from shared_schemas.prescription import Prescription

INTO_EACH_OTHER_MM = 1e-6

SAMPLES = 8

ROOM_AT_A_SEAT_MM = 0.05
"""Air that a seat leaves between two rims, or half of what there is at the larger clear diameter (common practice)."""

STEPS_OUTWARD = 64

HALVINGS = 40


def bodies_of(prescription: Prescription) -> tuple[Body, ...]:
    """The elements as they are made: with a flat seat on the hollow rim of neighbours that would touch outside both clear diameters."""
    parts = [body(element=element) for element in prescription.elements]
    for i, space in enumerate(prescription.spaces):
        pair = None if space.gap_mm is None else kept_apart(parts[i], parts[i + 1], space.gap_mm)
        if pair is not None:
            parts[i], parts[i + 1] = pair
    return tuple(parts)


def alike_elements(*, prescription: Prescription, bodies: Sequence[Body]) -> dict[str, str]:
    """For each element that is like one before it the first of its kind: the two are one lot, of which any piece goes into either place.

    Args:
        bodies: the elements as they are made, as `bodies_of` has them.

    Notes: alike are elements that are equal in everything but the name, that are cemented at the same faces, and whose seats, which
    neighbours may ask for, are equal too. One turned round is not alike.
    """
    first: dict[tuple[object, ...], str] = {}
    alike: dict[str, str] = {}
    cemented = [False, *(space.cemented for space in prescription.spaces), False]
    for position, (element, made) in enumerate(zip(prescription.elements, bodies, strict=True)):
        seats = (made.front.curved_to_mm, made.back.curved_to_mm)
        kind = (element.model_dump_json(exclude={"name"}), cemented[position], cemented[position + 1], seats)
        known = first.setdefault(kind, element.name)
        if known != element.name:
            alike[element.name] = known
    return alike


def kept_apart(before: Body, behind: Body, axial_mm: float) -> tuple[Body, Body] | None:
    """Two neighbours with a seat, or two; `None` where they do not touch, or touch inside a clear diameter.

    Notes: of two hollow faces the one that keeps more of its curve outside its clear diameter gets the seat; both do where neither
    suffices.
    Source: common practice.
    """
    if least_gap(before=before, behind=behind, axial_mm=axial_mm)[0] >= -INTO_EACH_OTHER_MM:
        return None
    rim = min(before.rim_mm, behind.rim_mm)
    clear = min(rim, max(before.back.surface.clear_diameter_mm, behind.front.surface.clear_diameter_mm) / 2)
    air = gap_mm(before=before, behind=behind, axial_mm=axial_mm, height_mm=clear)
    touch = _touch_mm(before, behind, axial_mm, rim) if air >= 0 else 0.0
    if air < 0 or touch < clear:
        return None
    room = min(ROOM_AT_A_SEAT_MM, air / 2)
    backs = [_curved_to(before, "back", y) for y in (_seat_from_mm(before, "back", behind, axial_mm, room),) if y is not None]
    fronts = [_curved_to(behind, "front", y) for y in (_seat_from_mm(behind, "front", before, axial_mm, room),) if y is not None]
    ways = [*((each, behind) for each in backs), *((before, each) for each in fronts)]
    if not ways:
        return _curved_to(before, "back", touch), _curved_to(behind, "front", touch)
    return max(ways, key=lambda pair: min(_spare_mm(pair[0].back), _spare_mm(pair[1].front)))


def gap_mm(*, before: Body, behind: Body, axial_mm: float, height_mm: float) -> float:
    """Air [mm] between two neighbours at a height [mm], parallel to the axis; negative where they run into each other.

    Notes: g - z_back + z_front of the next.
    Source: derived.
    """
    return air_gap_mm(axial_mm=axial_mm, sag_before_mm=before.back.sag_mm(height_mm), sag_behind_mm=behind.front.sag_mm(height_mm))


def least_gap(*, before: Body, behind: Body, axial_mm: float) -> tuple[float, float]:
    """The least air [mm] between two neighbours and the height [mm] where it is.

    Notes: between spheres and planes the gap only grows or only shrinks on the way out, so the rim and where a seat begins
    suffice; between other faces points on the way are tried.
    Source: derived.
    """
    rim = min(before.rim_mm, behind.rim_mm)
    heights = [rim, *(knee for knee in (before.back.curved_to_mm, behind.front.curved_to_mm) if knee < rim)]
    if before.back.aspheric or behind.front.aspheric:
        heights += [rim * i / SAMPLES for i in range(1, SAMPLES)]
    return min((gap_mm(before=before, behind=behind, axial_mm=axial_mm, height_mm=height), height) for height in heights)


def _spare_mm(face: Profile) -> float:
    """How far the curve of a face goes on outside its clear diameter [mm]."""
    return face.worked_mm - face.surface.clear_diameter_mm / 2


def _touch_mm(before: Body, behind: Body, axial_mm: float, rim_mm: float) -> float:
    """The height [mm] at which two neighbours touch first; the rim where they do not."""

    def air(height_mm: float) -> float:
        return gap_mm(before=before, behind=behind, axial_mm=axial_mm, height_mm=height_mm)

    heights = [rim_mm * step / STEPS_OUTWARD for step in range(STEPS_OUTWARD + 1)]
    crossed = next((step for step in range(1, STEPS_OUTWARD + 1) if air(heights[step]) < 0), None)
    if crossed is None:
        return rim_mm
    return _last_that_holds(lambda height: air(height) >= 0, heights[crossed - 1], heights[crossed])


def _seat_from_mm(part: Body, side: Literal["front", "back"], other: Body, axial_mm: float, room_mm: float) -> float | None:
    """The height [mm] outside which a hollow face is turned flat so that it keeps off its neighbour; `None` where that does not suffice."""
    face = part.front if side == "front" else part.back
    hollow = face.sag_mm(face.rim_mm) < 0 if side == "front" else face.sag_mm(face.rim_mm) > 0
    clear = face.surface.clear_diameter_mm / 2

    def apart(height_mm: float) -> bool:
        cut = _curved_to(part, side, height_mm)
        before, behind = (cut, other) if side == "back" else (other, cut)
        return least_gap(before=before, behind=behind, axial_mm=axial_mm)[0] >= room_mm

    return _last_that_holds(apart, clear, face.worked_mm) if hollow and apart(clear) else None


def _last_that_holds(holds: Callable[[float], bool], good: float, bad: float) -> float:
    for _ in range(HALVINGS):
        middle = (good + bad) / 2
        good, bad = (middle, bad) if holds(middle) else (good, middle)
    return good


def _curved_to(part: Body, side: Literal["front", "back"], height_mm: float) -> Body:
    if side == "front":
        return replace(part, front=replace(part.front, curved_to_mm=min(part.front.curved_to_mm, height_mm)))
    return replace(part, back=replace(part.back, curved_to_mm=min(part.back.curved_to_mm, height_mm)))
