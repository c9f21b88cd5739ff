"""Will bell chucks centre this lens by themselves?"""

from __future__ import annotations

import math

LEAST_Z = 0.56
"""Below this a lens is centred by hand or optically. Source: H. H. Karow, Fabrication Methods for Precision Optics (1993), p. 524."""


def centring_z(*, front_radius_mm: float | None, back_radius_mm: float | None, front_bell_mm: float, back_bell_mm: float) -> float:
    """Z = |D1/R1 - D2/R2| with signed radii and bell diameters D [mm]; 0 for a plane on either side counts nothing there.

    Source: Karow (1993), p. 524, in the form with signed radii (a biconvex lens adds, a meniscus subtracts).
    """
    front = 0.0 if front_radius_mm is None else front_bell_mm / front_radius_mm
    back = 0.0 if back_radius_mm is None else back_bell_mm / back_radius_mm
    return abs(front - back)


def centring_z_of_radii(z: float) -> float:
    """The same number as the half-sum of bell radii over radii of curvature: Z/4."""
    return z / 4


def clamping_angle_deg(
    *, front_radius_mm: float | None, back_radius_mm: float | None, front_bell_mm: float, back_bell_mm: float
) -> float:
    """Angle between the surface normals at the two bells: |asin(D1/2R1) - asin(D2/2R2)| [deg]."""

    def slope(radius_mm: float | None, bell_mm: float) -> float:
        return 0.0 if radius_mm is None else math.asin(max(-1.0, min(1.0, bell_mm / 2 / radius_mm)))

    return abs(math.degrees(slope(front_radius_mm, front_bell_mm) - slope(back_radius_mm, back_bell_mm)))


def wedge_arcmin(*, edge_difference_mm: float, diameter_mm: float) -> float:
    """Wedge angle of an edge thickness difference: ETD/D [arcmin]."""
    return math.degrees(edge_difference_mm / diameter_mm) * 60


def deviation_arcmin(*, wedge_arcmin: float, refractive_index: float) -> float:
    """Deviation of a beam by a thin wedge: (n - 1) w [arcmin]."""
    return (refractive_index - 1) * wedge_arcmin


def decentre_mm(*, deviation_arcmin: float, focal_length_mm: float) -> float:
    """Decentre of the optical axis that gives the same deviation: f delta [mm]."""
    return focal_length_mm * math.radians(deviation_arcmin / 60)
