"""A prescription as a train of refracting faces, with the place of the stop in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from services.prescription.domain.first_order import Interface, RayMatrix
from shared_schemas.prescription import Prescription, Stop

AIR = 1.0
CEMENT = 1.56
"""Index of cured cement, common practice. Where cemented radii agree it cancels: the film has no thickness here."""


@dataclass(frozen=True)
class AroundStop:
    """Matrices from the first vertex to the stop, and from the stop to the last vertex."""

    before: RayMatrix
    behind: RayMatrix


def train_of(prescription: Prescription, indices: Sequence[float]) -> tuple[Interface, ...]:
    """The faces of a prescription, two for every element; `indices` has the index of each element."""
    faces: list[Interface] = []
    before = AIR
    for i, (element, index) in enumerate(zip(prescription.elements, indices, strict=True)):
        space = prescription.spaces[i] if i < len(prescription.spaces) else None
        behind = CEMENT if space is not None and space.cemented else AIR
        gap_mm = space.gap_mm if space is not None and space.gap_mm is not None else 0.0
        faces.append(Interface(element.front.radius_mm, before, index, element.centre_thickness_mm))
        faces.append(Interface(element.back.radius_mm, index, behind, gap_mm))
        before = behind
    return tuple(faces)


def around_stop(train: Sequence[Interface], stop: Stop) -> AroundStop:
    """The matrices on both sides of the stop.

    Notes: a stop before the first element lies in front of it, whichever sign its distance has. One that lies in glass or
    beyond the next vertex is treated as its virtual image in the space behind its element.
    """
    last = len(train) - 1
    before = RayMatrix()
    if stop.after_element == 0:
        distance_mm = abs(stop.distance_mm)
        return AroundStop(before.moved(-distance_mm), _onwards(RayMatrix().moved(distance_mm), train))
    at = 2 * stop.after_element - 1
    for i in range(at + 1):
        before = before.refracted(train[i].power_per_mm)
        if i < at:
            before = before.moved(train[i].to_next_mm / train[i].index_after)
    medium = train[at].index_after
    to_next_mm = train[at].to_next_mm if at < last else 0.0
    behind = RayMatrix().moved((to_next_mm - stop.distance_mm) / medium)
    return AroundStop(before.moved(stop.distance_mm / medium), _onwards(behind, train[at + 1 :]))


def around_face(train: Sequence[Interface], face: int) -> AroundStop:
    """The matrices on both sides of a face that is the stop itself, counted from 0; its own power counts as behind."""
    before = RayMatrix()
    for one in train[:face]:
        before = before.refracted(one.power_per_mm).moved(one.to_next_mm / one.index_after)
    return AroundStop(before, _onwards(RayMatrix(), train[face:]))


def _onwards(matrix: RayMatrix, train: Sequence[Interface]) -> RayMatrix:
    for i, face in enumerate(train):
        matrix = matrix.refracted(face.power_per_mm)
        if i < len(train) - 1:
            matrix = matrix.moved(face.to_next_mm / face.index_after)
    return matrix
