"""How much glass is in a lens?"""

from __future__ import annotations

import math

import numpy as np

from services.prescription.domain.sag import Profile

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(32)


def cap_volume_mm3(*, radius_mm: float, height_mm: float) -> float:
    """Volume between a sphere's vertex plane and the sphere, out to a height [mm3]; signed as the radius.

    Notes: V = pi y^2 h - pi h^2 (3R - h)/3, with h the depth at y; the ring below the cap is what lies outside the sphere.
    """
    size = abs(radius_mm)
    depth = size - math.sqrt(max(size * size - height_mm * height_mm, 0.0))
    under = math.pi * height_mm**2 * depth - math.pi * depth**2 * (3 * size - depth) / 3
    return math.copysign(under, radius_mm)


def under_profile_mm3(profile: Profile, *, rim_mm: float) -> float:
    """Integral of the depth over the face out to the rim: 2 pi y z dy [mm3]; exact for spheres, Gauss quadrature otherwise."""
    inner = min(rim_mm, profile.flat_beyond_mm)
    annulus = math.pi * (rim_mm**2 - inner**2) * profile.sag_mm(inner)
    if profile.is_spherical:
        curved = 0.0 if profile.radius_mm is None else cap_volume_mm3(radius_mm=profile.radius_mm, height_mm=inner)
        return curved + annulus
    heights = inner * (_NODES + 1) / 2
    depths = np.array([profile.sag_mm(float(height)) for height in heights])
    return float(np.sum(_WEIGHTS * 2 * math.pi * heights * depths)) * inner / 2 + annulus


def lens_volume_mm3(*, front: Profile, back: Profile, centre_thickness_mm: float, diameter_mm: float) -> float:
    """Volume of an element out to its diameter [mm3].

    Notes: V = pi r^2 CT - integral of z1 + integral of z2, with signed depths.
    """
    rim = diameter_mm / 2
    return math.pi * rim**2 * centre_thickness_mm - under_profile_mm3(front, rim_mm=rim) + under_profile_mm3(back, rim_mm=rim)


def mass_g(*, volume_mm3: float, density_g_cm3: float) -> float:
    """Mass of a volume of glass [g]."""
    return volume_mm3 / 1000 * density_g_cm3
