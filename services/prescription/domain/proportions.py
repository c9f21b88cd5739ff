"""Proportions of an element and of its faces, each a bare figure to hold against a limit."""

from __future__ import annotations

from services.prescription.domain.profile import Profile
from services.prescription.domain.sag import reach_mm

SLENDER = 10.0
FLEXIBLE = 15.0
TOO_THIN = 50.0
"""Diameter to centre thickness: costs more, bends, and where published cost tables end."""

STEEP = 0.714
TOO_STEEP = 0.98
"""Semi-diameter to reach of a face: hard to work (|R| <= 0.7 D), and all but a hemisphere."""

LEAST_CENTRES_APART_MM = 2.0
NEARLY_FLAT_SAG_MM = 0.1


def diameter_to_thickness(*, diameter_mm: float, centre_thickness_mm: float) -> float:
    """Diameter to centre thickness, a measure of how much a part bends.

    Source: common practice.
    """
    return diameter_mm / centre_thickness_mm


def share_of_reach(*, face: Profile, height_mm: float) -> float:
    """How near a height [mm] is to where the face ends, 0 to 1; y/|R| for a sphere.

    Source: derived.
    """
    return height_mm / reach_mm(surface=face.surface)


def centres_apart_mm(*, front_radius_mm: float, back_radius_mm: float, centre_thickness_mm: float) -> float:
    """Distance [mm] between the centres of curvature of two faces with signed radii [mm].

    Notes: |R1 - R2 - CT| for either bending.
    Source: derived.
    """
    return abs(front_radius_mm - back_radius_mm - centre_thickness_mm)
