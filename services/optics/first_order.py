"""First order: a train of refracting faces as matrices of height and reduced angle, and what follows from them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from services.optics.law import law

AFOCAL_POWER_TIMES_LENGTH = 1e-6
"""A lens whose power bends a ray by less than this over its own length counts as afocal."""


@law
def focal_length_mm(*, c_per_mm: float) -> float:
    """Focal length [mm] of a lens in air out of the element c of its system matrix [1/mm].

    Equation: -1 / c_per_mm
    Source: derived; Kingslake and Johnson, Lens Design Fundamentals.
    """
    return -1 / c_per_mm


@law
def back_focus_mm(*, a: float, c_per_mm: float) -> float:
    """Focal point behind the last vertex [mm] out of the system matrix.

    Equation: -a / c_per_mm
    Source: derived.
    """
    return -a / c_per_mm


@law
def front_focus_mm(*, c_per_mm: float, d: float) -> float:
    """Focal point behind the first vertex [mm] (negative before it) out of the system matrix.

    Equation: d / c_per_mm
    Source: derived.
    """
    return d / c_per_mm


@law
def principal_plane_back_mm(*, a: float, c_per_mm: float) -> float:
    """Principal plane of the image behind the last vertex [mm] out of the system matrix.

    Equation: (1 - a) / c_per_mm
    Source: derived.
    """
    return (1 - a) / c_per_mm


@law
def principal_plane_front_mm(*, c_per_mm: float, d: float) -> float:
    """Principal plane of the object behind the first vertex [mm] out of the system matrix.

    Equation: (d - 1) / c_per_mm
    Source: derived.
    """
    return (d - 1) / c_per_mm


@law
def image_distance_mm(*, a: float, b_mm: float, c_per_mm: float, d: float, object_distance_mm: float) -> float:
    """Image behind the last vertex [mm] of an object so far before the first [mm], in air.

    Equation: -(b_mm + a * object_distance_mm) / (d + c_per_mm * object_distance_mm)
    Source: derived.
    """
    return -(b_mm + a * object_distance_mm) / (d + c_per_mm * object_distance_mm)


@law
def magnification(*, c_per_mm: float, d: float, object_distance_mm: float) -> float:
    """How many times as large an object so far before the first vertex [mm] is imaged, in air.

    Equation: 1 / (d + c_per_mm * object_distance_mm)
    Source: derived.
    """
    return 1 / (d + c_per_mm * object_distance_mm)


@law
def petzval_of_sum_mm(*, sum_per_mm: float) -> float:
    """Radius [mm] of the Petzval surface out of the sum of (n' - n) / (n n' R) over the faces [1/mm].

    Equation: -1 / sum_per_mm
    Source: derived; Smith, Modern Optical Engineering, states it in this form.
    """
    return -1 / sum_per_mm


@law
def vertex_length_mm(*, lengths_mm: Sequence[float]) -> float:
    """Distance [mm] from the first vertex to the last, out of centre thicknesses and gaps.

    Equation: sum(lengths_mm)
    Source: definition.
    """
    return math.fsum(lengths_mm)


@law
def pupil_position_mm(*, b_mm: float, a: float) -> float:
    """Entrance pupil behind the first vertex [mm] out of the matrix up to the stop.

    Equation: b_mm / a
    Source: derived.
    """
    return b_mm / a


@law
def f_number(*, focal_length_mm: float, entrance_pupil_diameter_mm: float) -> float:
    """Focal length to diameter of the entrance pupil [mm/mm].

    Equation: abs(focal_length_mm) / entrance_pupil_diameter_mm
    Source: definition.
    """
    return abs(focal_length_mm) / entrance_pupil_diameter_mm


@law
def working_f_number(*, numerical_aperture: float) -> float:
    """Working f-number of the image side.

    Equation: 1 / (2 * numerical_aperture)
    Source: definition.
    """
    return 1 / (2 * numerical_aperture)


@law
def lens_power_per_mm(
    *, refractive_index: float, front_curvature_per_mm: float, back_curvature_per_mm: float, centre_thickness_mm: float
) -> float:
    """Power [1/mm] of one thick element in air.

    Equation: (refractive_index - 1) * (front_curvature_per_mm - back_curvature_per_mm)
        + (refractive_index - 1)**2 * centre_thickness_mm * front_curvature_per_mm * back_curvature_per_mm / refractive_index
    Source: the lens maker's equation, textbook.
    """
    above = refractive_index - 1
    thin = above * (front_curvature_per_mm - back_curvature_per_mm)
    return thin + above**2 * centre_thickness_mm * front_curvature_per_mm * back_curvature_per_mm / refractive_index


@law
def curvature_per_mm(*, radius_mm: float) -> float:
    """Curvature [1/mm] of a radius [mm].

    Equation: 1 / radius_mm
    Source: definition.
    """
    return 1 / radius_mm


@law
def focal_length_of_power_mm(*, power_per_mm: float) -> float:
    """Focal length [mm] of a power [1/mm].

    Equation: 1 / power_per_mm
    Source: definition.
    """
    return 1 / power_per_mm


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
    return vertex_length_mm(lengths_mm=[face.to_next_mm for face in train[:-1]])


def foci(*, matrix: RayMatrix, length_mm: float) -> Foci | None:
    """Focal length, focal points and principal planes of a lens in air; `None` for an afocal one, or past all bounds.

    Notes: f = -1/c, back focus -a/c, front focus d/c, principal planes (1 - a)/c and (d - 1)/c. Afocal: |c| times the length
    below 1e-6.
    Source: derived.
    """
    if not abs(matrix.c) * length_mm > AFOCAL_POWER_TIMES_LENGTH:
        return None
    a, c, d = matrix.a, matrix.c, matrix.d
    found = Foci(
        focal_length_mm(c_per_mm=c),
        back_focus_mm(a=a, c_per_mm=c),
        front_focus_mm(c_per_mm=c, d=d),
        principal_plane_back_mm(a=a, c_per_mm=c),
        principal_plane_front_mm(c_per_mm=c, d=d),
    )
    return found if _all_finite(vars(found).values()) else None


def image(*, matrix: RayMatrix, object_distance_mm: float) -> Image | None:
    """Image of an object that far in front of the first vertex [mm], in air; `None` where its rays leave parallel.

    Notes: with b' = b + a s and d' = d + c s, the image lies at -b'/d' and is 1/d' times as large.
    Source: derived.
    """
    a, b, c, d = matrix.a, matrix.b, matrix.c, matrix.d
    if not abs(d + c * object_distance_mm) > AFOCAL_POWER_TIMES_LENGTH:
        return None
    found = Image(
        image_distance_mm(a=a, b_mm=b, c_per_mm=c, d=d, object_distance_mm=object_distance_mm),
        magnification(c_per_mm=c, d=d, object_distance_mm=object_distance_mm),
    )
    return found if _all_finite((found.distance_mm, found.magnification)) else None


def entrance_pupil(*, before_stop: RayMatrix, stop_diameter_mm: float) -> Pupil | None:
    """Image of the stop by the faces before it, counted from the first vertex; `None` where it lies at infinity.

    Notes: with the matrix from the first vertex to the stop, z = b/a and D = D_stop / |a|.
    Source: derived.
    """
    if before_stop.a == 0:
        return None
    return _pupil(pupil_position_mm(b_mm=before_stop.b, a=before_stop.a), stop_diameter_mm / abs(before_stop.a))


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
    return petzval_of_sum_mm(sum_per_mm=curvature) if abs(curvature) > 1e-12 else None


def _pupil(position_mm: float, diameter_mm: float) -> Pupil | None:
    return Pupil(position_mm, diameter_mm) if _all_finite((position_mm, diameter_mm)) and diameter_mm > 0 else None


def _all_finite(values: Iterable[float]) -> bool:
    return all(map(math.isfinite, values))
