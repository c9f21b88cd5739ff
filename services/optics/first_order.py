"""First order: a train of refracting faces as matrices of height and reduced angle, and what follows from them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from shared_schemas.prescription import Prescription, Stop

AFOCAL_POWER_TIMES_LENGTH = 1e-6
"""A lens whose power bends a ray by less than this over its own length counts as afocal."""


@dataclass(frozen=True)
class Interface:
    """A refracting face: signed radius [mm] (`None` plano), the indices around it, the way to the next one [mm]."""

    radius_mm: float | None
    index_before: float
    index_after: float
    to_next_mm: float

    @property
    def power_per_mm(self) -> float:
        """(n' - n) / R [1/mm]."""
        return 0.0 if self.radius_mm is None else (self.index_after - self.index_before) / self.radius_mm


@dataclass(frozen=True)
class RayMatrix:
    """(y, n u) behind a train from (y, n u) before it: y' = a y + b nu, nu' = c y + d nu. Its determinant is 1."""

    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 1.0

    def refracted(self, power_per_mm: float) -> RayMatrix:
        """Followed by a face of a power [1/mm]."""
        return RayMatrix(self.a, self.b, self.c - power_per_mm * self.a, self.d - power_per_mm * self.b)

    def moved(self, reduced_mm: float) -> RayMatrix:
        """Followed by a way of a reduced length t/n [mm]."""
        return RayMatrix(self.a + reduced_mm * self.c, self.b + reduced_mm * self.d, self.c, self.d)


@dataclass(frozen=True)
class Pupil:
    """Image of the stop: where [mm], positive behind the vertex it is counted from, and its diameter [mm]."""

    position_mm: float
    diameter_mm: float


@dataclass(frozen=True)
class Foci:
    """Focal length, and focal points and principal planes counted from the vertex of the first and of the last face [mm].

    What belongs to the object counts from the first vertex, what belongs to the image from the last, positive behind it.
    """

    focal_length_mm: float
    back_focus_mm: float
    front_focus_mm: float
    principal_plane_back_mm: float
    principal_plane_front_mm: float


@dataclass(frozen=True)
class Image:
    """Where an object is imaged, counted from the last vertex [mm], and how many times as large."""

    distance_mm: float
    magnification: float


def system_matrix(train: Sequence[Interface]) -> RayMatrix:
    """From just before the first face to just behind the last; the way behind the last does not count.

    Notes: n'u' = n u - y (n' - n) / R, y' = y + (t / n') n'u'.
    Source: derived; Kingslake and Johnson, Lens Design Fundamentals, has the same scheme.
    """
    matrix = RayMatrix()
    for face in train[:-1]:
        matrix = matrix.refracted(face.power_per_mm).moved(face.to_next_mm / face.index_after)
    return matrix.refracted(train[-1].power_per_mm)


def length_mm(train: Sequence[Interface]) -> float:
    """Distance [mm] from the first vertex to the last."""
    return math.fsum(face.to_next_mm for face in train[:-1])


def foci(*, matrix: RayMatrix, length_mm: float) -> Foci | None:
    """Focal length, focal points and principal planes of a lens in air; `None` for an afocal one, or past all bounds.

    Notes: f = -1/c, back focus -a/c, front focus d/c, principal planes (1 - a)/c and (d - 1)/c. Afocal: |c| times the length
    below 1e-6.
    Source: derived.
    """
    if not abs(matrix.c) * length_mm > AFOCAL_POWER_TIMES_LENGTH:
        return None
    a, c, d = matrix.a, matrix.c, matrix.d
    found = Foci(-1 / c, -a / c, d / c, (1 - a) / c, (d - 1) / c)
    return found if _all_finite(vars(found).values()) else None


def image(*, matrix: RayMatrix, object_distance_mm: float) -> Image | None:
    """Image of an object that far in front of the first vertex [mm], in air; `None` where its rays leave parallel.

    Notes: with b' = b + a s and d' = d + c s, the image lies at -b'/d' and is 1/d' times as large.
    Source: derived.
    """
    b, d = matrix.b + matrix.a * object_distance_mm, matrix.d + matrix.c * object_distance_mm
    if not abs(d) > AFOCAL_POWER_TIMES_LENGTH:
        return None
    found = Image(-b / d, 1 / d)
    return found if _all_finite((found.distance_mm, found.magnification)) else None


def entrance_pupil(*, before_stop: RayMatrix, stop_diameter_mm: float) -> Pupil | None:
    """Image of the stop by the faces before it, counted from the first vertex; `None` where it lies at infinity.

    Notes: with the matrix from the first vertex to the stop, z = b/a and D = D_stop / |a|.
    Source: derived.
    """
    if before_stop.a == 0:
        return None
    return _pupil(before_stop.b / before_stop.a, stop_diameter_mm / abs(before_stop.a))


def exit_pupil(*, behind_stop: RayMatrix, stop_diameter_mm: float) -> Pupil | None:
    """Image of the stop by the faces behind it, counted from the last vertex; `None` where it lies at infinity.

    Notes: with the matrix from the stop to the last vertex, z = -b/d and D = D_stop / |d|.
    Source: derived.
    """
    if behind_stop.d == 0:
        return None
    return _pupil(-behind_stop.b / behind_stop.d, stop_diameter_mm / abs(behind_stop.d))


def petzval_radius_mm(train: Iterable[Interface]) -> float | None:
    """Radius [mm] of the Petzval surface, negative when it curves towards the lens; `None` for a flat one.

    Notes: 1/R_P = -sum (n' - n) / (n n' R).
    Source: derived; Smith, Modern Optical Engineering, states it in this form.
    """
    curvature = math.fsum(face.power_per_mm / (face.index_before * face.index_after) for face in train)
    return -1 / curvature if abs(curvature) > 1e-12 else None


def f_number(*, focal_length_mm: float, entrance_pupil_diameter_mm: float) -> float | None:
    """Focal length to diameter of the entrance pupil [mm/mm]; `None` where it leaves all bounds.

    Source: definition.
    """
    ratio = abs(focal_length_mm) / entrance_pupil_diameter_mm
    return ratio if math.isfinite(ratio) else None


def _pupil(position_mm: float, diameter_mm: float) -> Pupil | None:
    return Pupil(position_mm, diameter_mm) if _all_finite((position_mm, diameter_mm)) and diameter_mm > 0 else None


def _all_finite(values: Iterable[float]) -> bool:
    return all(map(math.isfinite, values))


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
        _finite(None if face.radius_mm is None else (focal_length_mm / face.radius_mm) ** 2 * coming * leaving * (face.index_after - face.index_before))
        for face, coming, leaving in zip(train, _coming(train), _leaving(train), strict=True)
    )  # fmt: skip


def _coming(train: Sequence[Interface]) -> list[float]:
    """Heights on the faces of a ray that comes parallel to the axis at height 1."""
    heights, y, nu = [], 1.0, 0.0
    for face in train:
        heights.append(y)
        nu -= y * face.power_per_mm
        y += nu * face.to_next_mm / face.index_after
    return heights


def _leaving(train: Sequence[Interface]) -> list[float]:
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
