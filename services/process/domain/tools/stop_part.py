"""The aperture stop as a part: a plate between two rims, or the rim of a lens itself."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from services.process.domain.element_work import ElementWork, FaceWork
from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.prescription import Prescription


def rim_beyond_vertex_mm(face: FaceWork) -> float:
    """How far the rim of a face stands back from its vertex, away from the air before it [mm]; below 0 where the face is hollow."""
    return face.sag_mm if face.convex else -face.sag_mm


def stop_is_a_plate(works: Sequence[ElementWork], prescription: Prescription) -> bool:
    """Whether the stop lies in the air between two rims, or beyond the first or last, where a plate can be held.

    Notes: the distances are from the back vertex of the element before it; before the first element from its front vertex.
    """
    stop = prescription.stop
    if stop is None:
        return False
    before, behind = stop.after_element, stop.after_element + 1
    from_mm, to_mm = float("-inf"), float("inf")
    gap_mm = 0.0
    if 0 < before < len(works):
        space = prescription.spaces[before - 1]
        if space.gap_mm is None:
            return False
        gap_mm = space.gap_mm
    if before > 0:
        from_mm = -rim_beyond_vertex_mm(works[before - 1].back)
    if behind <= len(works):
        to_mm = gap_mm + rim_beyond_vertex_mm(works[behind - 1].front)
    return from_mm < stop.distance_mm < to_mm


def stop_without_a_plate(works: Sequence[ElementWork], prescription: Prescription) -> Iterator[Finding]:
    """What stands for the stop where no plate is made for it."""
    stop = prescription.stop
    if stop is None or (prescription.barrel is not None and stop_is_a_plate(works, prescription)):
        return
    if prescription.barrel is None:
        message = "The lens is delivered in parts, without a barrel: no plate is made for its stop."
        remedy = "a barrel that holds it"
    else:
        message = "The stop lies at the rim of a lens: stop = lens edge or barrel land, and no plate is made for it."
        remedy = "a stop in the air between two rims, for a plate of its own"
    yield finding("stop-without-plate", "/stop", message, figure=stop.diameter_mm, unit="mm", remedy=remedy)
