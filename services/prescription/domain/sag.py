"""How deep is a surface at a height above the axis?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from services.prescription.errors import SurfaceEndsEarlier
from shared_schemas.prescription import Surface

FLAT_MM = 1e-12


def reach_mm(*, radius_mm: float | None, conic: float = 0.0) -> float:
    """Largest height at which a conic has a depth [mm]: |R|/sqrt(1+k) for k > -1, infinite otherwise."""
    if radius_mm is None or conic <= -1:
        return math.inf
    return abs(radius_mm) / math.sqrt(1 + conic)


def sag_mm(*, radius_mm: float | None, height_mm: float, conic: float = 0.0, asphere: Mapping[int, float] | None = None) -> float:
    """Depth of a surface at a height above the axis.

    Args:
        radius_mm: vertex radius R, positive when the centre of curvature lies behind the surface; None for plano [mm].
        height_mm: height y above the axis [mm].
        conic: k; 0 a sphere, -1 a paraboloid.
        asphere: even orders to coefficients [mm^(1-order)].

    Returns:
        z [mm], positive towards the back.

    Raises:
        SurfaceEndsEarlier: (1+k) c^2 y^2 > 1.

    Notes:
        z = c y^2 / (1 + sqrt(1 - (1+k) c^2 y^2)) + A4 y^4 + A6 y^6 + ..., c = 1/R.

    Source: ISO 10110-12, from memory.
    """
    y2 = height_mm * height_mm
    depth = 0.0
    if radius_mm is not None:
        inside = 1 - (1 + conic) * y2 / (radius_mm * radius_mm)
        if inside < -1e-12:
            raise SurfaceEndsEarlier(height_mm=height_mm, limit_mm=reach_mm(radius_mm=radius_mm, conic=conic))
        depth = y2 / radius_mm / (1 + math.sqrt(max(inside, 0.0)))
    for order, coefficient in (asphere or {}).items():
        depth += coefficient * height_mm**order
    return depth


@dataclass(frozen=True)
class Profile:
    """A face out to the rim of its element: the surface, and a flat annulus beyond `flat_beyond_mm` where it ends before."""

    radius_mm: float | None
    conic: float
    asphere: tuple[tuple[int, float], ...]
    flat_beyond_mm: float

    def sag_mm(self, height_mm: float) -> float:
        """Depth at a height [mm]; constant on the annulus."""
        return sag_mm(
            radius_mm=self.radius_mm,
            height_mm=min(abs(height_mm), self.flat_beyond_mm),
            conic=self.conic,
            asphere=dict(self.asphere),
        )

    @property
    def is_spherical(self) -> bool:
        """Whether it is a sphere or a plane."""
        return self.conic == 0 and not self.asphere


STEEPEST_SHARE = 0.98
"""A surface is carried beyond its clear diameter up to this share of its reach; steeper, a flat seat is cut."""


def profile_of(surface: Surface, *, rim_mm: float) -> Profile:
    """The face of an element whose rim lies `rim_mm` from the axis.

    Where the surface would not reach the rim, it ends at the clear semi-diameter in a flat annulus, as a shop would
    cut it: unequal apertures on one element are no error.
    """
    limit = STEEPEST_SHARE * reach_mm(radius_mm=surface.radius_mm, conic=surface.conic)
    flat_beyond = rim_mm if rim_mm <= limit else max(surface.clear_diameter_mm / 2, FLAT_MM)
    asphere = tuple(sorted((int(order), coefficient) for order, coefficient in surface.asphere.items()))
    return Profile(surface.radius_mm, surface.conic, asphere, flat_beyond)
