"""A prescription as a train of refracting faces, with the place of the stop in it, and what each radius does to the focal length."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from services.optics.first_order import Interface, RayMatrix
from services.optics.law import law
from shared_schemas.prescription import Prescription, Stop


@law
def focal_length_per_radius(
    *,
    focal_length_mm: float,
    radius_mm: float,
    height_coming: float,
    height_leaving: float,
    index_before: float,
    index_after: float,
) -> float:
    """What a radius does to the focal length of the whole lens [mm/mm].

    Equation: (focal_length_mm / radius_mm)**2 * height_coming * height_leaving * (index_after - index_before)
    Notes: the heights on the face are those of a ray that comes, and of one that leaves, parallel to the axis at height 1.
    Source: derived; Kingslake and Johnson, Lens Design Fundamentals, has the sum of y (n' - n)/R over the faces.
    """
    return (focal_length_mm / radius_mm) ** 2 * height_coming * height_leaving * (index_after - index_before)


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


def focal_lengths_per_radius(*, train: Sequence[Interface], focal_length_mm: float | None) -> tuple[float | None, ...]:
    """df/dR [mm/mm] of every face; `None` for a plano one, and for all of a lens without a focal length.

    Notes: with y the height on a face of a ray that comes parallel to the axis at height 1, and y* that of one that leaves
    so, 1/f changes by y y* for each unit of the face's power (n' - n)/R, so df/dR = f^2 y y* (n' - n)/R^2. The power of a
    lens is linear in that of each face: 1/f' = 1/f + df/dR (R/f)^2 (1/R' - 1/R) holds for any change of one radius.
    Source: derived; Kingslake and Johnson, Lens Design Fundamentals, has the sum of y (n' - n)/R over the faces.
    """
    if focal_length_mm is None:
        return (None,) * len(train)
    return tuple(
        None
        if face.radius_mm is None
        else _finite(
            focal_length_per_radius(
                focal_length_mm=focal_length_mm,
                radius_mm=face.radius_mm,
                height_coming=coming,
                height_leaving=leaving,
                index_before=face.index_before,
                index_after=face.index_after,
            )
        )
        for face, coming, leaving in zip(train, heights_coming(train), heights_leaving(train), strict=True)
    )


def heights_coming(train: Sequence[Interface]) -> list[float]:
    """Heights on the faces of a ray that comes parallel to the axis at height 1."""
    heights, y, nu = [], 1.0, 0.0
    for face in train:
        heights.append(y)
        nu -= y * face.power_per_mm
        y += nu * face.to_next_mm / face.index_after
    return heights


def heights_leaving(train: Sequence[Interface]) -> list[float]:
    """Heights on the faces of a ray that leaves parallel to the axis at height 1, followed back from the last."""
    heights, y, nu = [0.0] * len(train), 1.0, 0.0
    for i in reversed(range(len(train))):
        heights[i] = y
        nu += y * train[i].power_per_mm
        if i:
            y -= nu * train[i - 1].to_next_mm / train[i - 1].index_after
    return heights


def _finite(figure: float | None) -> float | None:
    return figure if figure is not None and math.isfinite(figure) else None
