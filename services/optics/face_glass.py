"""The glass over one face: what lies between it and a plane across its highest point, and how large the face is."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from services.optics.body import under_face
from services.optics.law import law
from services.optics.surface import Profile, is_aspheric, slopes
from shared_schemas.prescription import Surface

NODES, WEIGHTS = np.polynomial.legendre.leggauss(64)


@law
def cap_volume_mm3(*, radius_mm: float, sag_mm: float) -> float:
    """Volume [mm3] of a spherical cap of a radius and a depth [mm], both without sign.

    Equation: pi * sag_mm ** 2 * (3 * radius_mm - sag_mm) / 3
    Source: derived.
    """
    return math.pi * sag_mm**2 * (3 * radius_mm - sag_mm) / 3


@law
def over_convex_mm3(*, semi_diameter_mm: float, radius_mm: float, sag_mm: float) -> float:
    """Glass [mm3] between a convex sphere and the plane across its vertex: the disc as deep as the face, less its cap.

    Equation: pi * semi_diameter_mm ** 2 * sag_mm - pi * sag_mm ** 2 * (3 * radius_mm - sag_mm) / 3
    Source: derived.
    """
    return math.pi * semi_diameter_mm**2 * sag_mm - cap_volume_mm3(radius_mm=radius_mm, sag_mm=sag_mm)


@law
def cap_area_mm2(*, radius_mm: float, sag_mm: float) -> float:
    """Area [mm2] of a spherical cap of a radius and a depth [mm], both without sign.

    Equation: 2 * pi * radius_mm * sag_mm
    Source: derived.
    """
    return 2 * math.pi * radius_mm * sag_mm


@law
def plane_area_mm2(*, diameter_mm: float) -> float:
    """Area [mm2] of a plane round face.

    Equation: pi / 4 * diameter_mm ** 2
    Source: derived.
    """
    return math.pi / 4 * diameter_mm**2


@law
def face_with_seat_mm2(*, curved_mm2: float, curved_mm: float, rim_mm: float) -> float:
    """Area [mm^2] of a face out of that of its curve, which ends at a semi-diameter [mm], and of what goes on flat to the rim [mm].

    Equation: curved_mm2 + pi * (rim_mm**2 - curved_mm**2)
    Source: derived.
    """
    return curved_mm2 + math.pi * (rim_mm**2 - curved_mm**2)


@law
def pressed_volume_mm3(*, lens_mm3: float, front_mm2: float, back_mm2: float, per_face_mm: float) -> float:
    """Volume [mm^3] of a pressing, which has the curves of its lens in it, each face with an allowance [mm] all over.

    Equation: lens_mm3 + (front_mm2 + back_mm2) * per_face_mm
    Notes: `lens_mm3` is the lens with its faces going on to the diameter of the pressing.
    Source: common practice; the allowance is thin against the radii.
    """
    return lens_mm3 + (front_mm2 + back_mm2) * per_face_mm


def over_face_mm3(*, face: Profile, height_mm: float, side: Literal["front", "back"]) -> float:
    """Glass [mm3] between a face and the plane across its outermost point, up to a height [mm].

    Notes: the integral of 2 pi r |z - z_outermost|; closed for spheres and planes, by a Gauss-Legendre rule for aspheres.
    Source: derived.
    """
    radius = face.surface.radius_mm
    if radius is not None and not is_aspheric(surface=face.surface) and height_mm <= face.curved_to_mm:
        sag = abs(face.sag_mm(height_mm))
        if (radius > 0) == (side == "front"):
            return over_convex_mm3(semi_diameter_mm=height_mm, radius_mm=abs(radius), sag_mm=sag)
        return cap_volume_mm3(radius_mm=abs(radius), sag_mm=sag)
    foremost_mm, hindmost_mm = face.sag_range_mm(height_mm)
    under_mm3, disc_mm2 = under_face(face, height_mm).volume_mm3, math.pi * height_mm**2
    over = under_mm3 - disc_mm2 * foremost_mm if side == "front" else disc_mm2 * hindmost_mm - under_mm3
    return max(over, 0.0)


def area_mm2(*, face: Profile, height_mm: float) -> float:
    """Area [mm2] of a face up to a height [mm]; a flat seat outside the curve counts as the ring that it is.

    Notes: the integral of 2 pi r sqrt(1 + z'^2); closed for spheres and planes, by a Gauss-Legendre rule for aspheres.
    Source: derived.
    """
    curved = min(height_mm, face.curved_to_mm)
    ring = math.pi * (height_mm**2 - curved**2)
    if is_aspheric(surface=face.surface):
        drawn = min(curved, face.rim_mm)  # past the rim the terms stay what they are there, and only the conic goes on
        bare = face.surface.model_copy(update={"asphere": {}})
        return _turned_mm2(face.surface, 0.0, drawn) + _turned_mm2(bare, drawn, curved) + ring
    radius = face.surface.radius_mm
    if radius is None:
        return plane_area_mm2(diameter_mm=2 * height_mm)
    return cap_area_mm2(radius_mm=abs(radius), sag_mm=abs(face.sag_mm(curved))) + ring


def _turned_mm2(surface: Surface, from_mm: float, to_mm: float) -> float:
    """Area of a surface between two heights."""
    half = (to_mm - from_mm) / 2
    r = from_mm + half * (NODES + 1)
    return float((WEIGHTS * half * 2 * math.pi * r * np.sqrt(1 + slopes(surface=surface, heights_mm=r) ** 2)).sum())
