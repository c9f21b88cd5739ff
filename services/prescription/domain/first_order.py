"""Paraxial figures: where a thin bundle near the axis comes to a focus, and what the stop looks like from outside."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from shared_schemas.check import FirstOrder
from shared_schemas.prescription import Prescription

Matrix = npt.NDArray[np.float64]
AFOCAL_POWER = 1e-9
"""A power below this [1/mm] is no power: the focal length would be over a kilometre."""


@dataclass(frozen=True)
class Interface:
    """One refraction: where (from the first vertex), how curved, between which media; `semi_diameter_mm` passes light."""

    vertex_mm: float
    curvature_per_mm: float
    index_before: float
    index_after: float
    semi_diameter_mm: float


def interfaces_of(prescription: Prescription, indices: Sequence[float]) -> tuple[Interface, ...]:
    """Every refraction of a lens in air, front to back. A cemented pair of faces is one, of the mean of their curvatures."""
    found: list[Interface] = []
    vertex = 0.0
    for number, (element, index) in enumerate(zip(prescription.elements, indices, strict=True)):
        front, back = element.front, element.back
        joined = number > 0 and prescription.spaces[number - 1].cemented
        if joined:
            before = found.pop()
            curvature = (before.curvature_per_mm + _curvature(front.radius_mm)) / 2
            semi = min(before.semi_diameter_mm, front.clear_diameter_mm / 2)
            found.append(Interface(vertex, curvature, before.index_before, index, semi))
        else:
            found.append(Interface(vertex, _curvature(front.radius_mm), 1.0, index, front.clear_diameter_mm / 2))
        vertex += element.centre_thickness_mm
        found.append(Interface(vertex, _curvature(back.radius_mm), index, 1.0, back.clear_diameter_mm / 2))
        if number < len(prescription.spaces):
            vertex += prescription.spaces[number].gap_mm or 0.0
    return tuple(found)


def _curvature(radius_mm: float | None) -> float:
    return 0.0 if radius_mm is None else 1 / radius_mm


def ray_heights_mm(interfaces: Sequence[Interface], *, height_mm: float, slope: float) -> tuple[list[float], float]:
    """Heights of a paraxial ray on every interface, and its slope behind the last.

    Notes: n'u' = n u - y (n' - n)/R, then y' = y + u' t.
    """
    heights: list[float] = []
    y, u, at = height_mm, slope, interfaces[0].vertex_mm
    for face in interfaces:
        y += u * (face.vertex_mm - at)
        at = face.vertex_mm
        heights.append(y)
        u = (face.index_before * u - y * (face.index_after - face.index_before) * face.curvature_per_mm) / face.index_after
    return heights, u


def system_matrix(interfaces: Sequence[Interface]) -> Matrix:
    """[[A, B], [C, D]] from the first vertex to the last, acting on (height, slope) in air."""
    matrix = np.eye(2)
    at = interfaces[0].vertex_mm if interfaces else 0.0
    for face in interfaces:
        bend = [
            [1.0, 0.0],
            [
                -(face.index_after - face.index_before) * face.curvature_per_mm / face.index_after,
                face.index_before / face.index_after,
            ],
        ]
        matrix = np.array(bend) @ np.array([[1.0, face.vertex_mm - at], [0.0, 1.0]]) @ matrix
        at = face.vertex_mm
    return matrix


def petzval_radius_mm(interfaces: Sequence[Interface]) -> float | None:
    """Radius of the Petzval surface [mm], negative when it curves towards the lens; None when it is flat.

    Notes: 1/R_p = -sum (n' - n)/(n n' R).
    """
    curvature = -sum((f.index_after - f.index_before) * f.curvature_per_mm / (f.index_before * f.index_after) for f in interfaces)
    return None if abs(curvature) < AFOCAL_POWER else 1 / curvature


def first_order(prescription: Prescription, indices: Sequence[float]) -> FirstOrder:
    """Focal length, foci, f-number, pupils and Petzval radius of a lens in air.

    Source: standard paraxial optics, e.g. W. J. Smith, Modern Optical Engineering, 4th ed. (2008), ch. 2, from memory.
    """
    interfaces = interfaces_of(prescription, indices)
    (a, b), (c, d) = (tuple(map(float, row)) for row in system_matrix(interfaces))
    focal = None if abs(c) < AFOCAL_POWER else -1 / c
    pupil = _pupils(prescription, interfaces, (a, b, c, d))
    return FirstOrder(
        wavelength_nm=prescription.wavelength_nm,
        focal_length_mm=focal,
        back_focus_mm=None if focal is None else a * focal,
        front_focus_mm=None if focal is None else -d * focal,
        f_number=abs(focal) / pupil.entrance_diameter_mm if focal is not None and pupil.entrance_diameter_mm else None,
        length_mm=interfaces[-1].vertex_mm,
        entrance_pupil_diameter_mm=pupil.entrance_diameter_mm,
        entrance_pupil_position_mm=pupil.entrance_position_mm,
        exit_pupil_diameter_mm=pupil.exit_diameter_mm,
        exit_pupil_position_mm=pupil.exit_position_mm,
        petzval_radius_mm=petzval_radius_mm(interfaces),
    )


@dataclass(frozen=True)
class Pupils:
    """The stop as seen from the front (positions from the first vertex) and from the back (from the last)."""

    entrance_diameter_mm: float | None
    entrance_position_mm: float | None = None
    exit_diameter_mm: float | None = None
    exit_position_mm: float | None = None


def _pupils(prescription: Prescription, interfaces: Sequence[Interface], whole: tuple[float, float, float, float]) -> Pupils:
    stop = prescription.stop
    if stop is None:
        return Pupils(prescription.entrance_pupil_diameter_mm or widest_beam_mm(interfaces))
    at = stop_position_mm(prescription)
    front = [face for face in interfaces if (face.vertex_mm <= at and face.index_after == 1.0) or face.vertex_mm < at]
    rear = list(interfaces[len(front) :])
    (fa, fb), _ = _to_plane(front, at)
    entrance = None if abs(fa) < 1e-12 else fb / fa
    diameter = prescription.entrance_pupil_diameter_mm or (stop.diameter_mm / abs(fa) if abs(fa) > 1e-12 else None)
    rear_matrix = system_matrix(rear) @ np.array([[1.0, (rear[0].vertex_mm - at) if rear else 0.0], [0.0, 1.0]])
    rb, rd = float(rear_matrix[0, 1]), float(rear_matrix[1, 1])
    seen = abs(rd) > 1e-12
    return Pupils(diameter, entrance, stop.diameter_mm / abs(rd) if seen else None, -rb / rd if seen else None)


def _to_plane(front: Sequence[Interface], at_mm: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Matrix from the first vertex (z = 0) to a plane in air."""
    last = front[-1].vertex_mm if front else 0.0
    matrix = np.array([[1.0, at_mm - last], [0.0, 1.0]]) @ system_matrix(front)
    return (float(matrix[0, 0]), float(matrix[0, 1])), (float(matrix[1, 0]), float(matrix[1, 1]))


def stop_position_mm(prescription: Prescription) -> float:
    """Where the stop stands, from the first vertex [mm]; raises `ValueError` for a lens without one."""
    if prescription.stop is None:
        raise ValueError("the lens has no stop")
    at = prescription.stop.distance_mm
    for number in range(prescription.stop.after_element):
        at += prescription.elements[number].centre_thickness_mm
        if number < prescription.stop.after_element - 1:
            at += prescription.spaces[number].gap_mm or 0.0
    return at


def widest_beam_mm(interfaces: Sequence[Interface]) -> float | None:
    """Diameter of the widest axial beam from infinity that passes every clear aperture [mm]."""
    heights, _ = ray_heights_mm(interfaces, height_mm=1.0, slope=0.0)
    passes = [face.semi_diameter_mm / abs(height) for face, height in zip(interfaces, heights, strict=True) if abs(height) > 1e-12]
    return 2 * min(passes) if passes and math.isfinite(min(passes)) else None
