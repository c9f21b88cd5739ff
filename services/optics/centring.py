"""Centring: does a lens slide to its axis between two bells, and what do wedge and decentre have to do with each other?

The published factors are one number in two units: `Z_A`, with diameters, is four times `Z_B`, with bell radii and a half.
The check report's `centring_z` is Z_A.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from services.optics.body import Body
from services.optics.law import law

SELF_CENTRING_Z_A = 0.56
"""Below it a lens does not slide to its axis by itself; a friction coefficient of 0.14 of glass on the bell."""

FINE_EDGE_DIFFERENCE_MM = 0.005
"""Below it an edge difference is not economical; 0.002 mm is the published limit of small spheres.
Source: https://www.optimaxsi.com/charts/tolerancing-limits/spheres."""


@dataclass(frozen=True)
class Wedge:
    """One wedge of an element in the words of everyone who measures it: angle [arcmin], difference of edge thickness [mm],
    deviation of a beam [arcmin], which is half the cone it describes when the part turns, and decentre of the axis [mm]."""

    wedge_arcmin: float
    edge_difference_mm: float
    deviation_arcmin: float
    decentre_mm: float | None


@law
def z_a_of_sines(*, front_sine: float, back_sine: float) -> float:
    """Z factor with bell diameters, out of the sines of the normals where the bells stand; |D1/R1 - D2/R2| for spheres.

    Equation: 2 * abs(front_sine - back_sine)
    Source: Karow, Fabrication Methods for Precision Optics, Wiley 1993, p. 524, as cited at
    http://www.opticsrealm.com/home/education/opto-mech/z-factor-lens-centerability; minus sign with signed radii derived.
    """
    return 2 * abs(front_sine - back_sine)


def z_a(*, body: Body, front_bell_mm: float, back_bell_mm: float) -> float:
    """Z factor with bell diameters, |D1/R1 - D2/R2| with signed radii, for bells of semi-diameters [mm].

    Notes: y/R is the sine of the normal's angle, by which a conic or an asphere is treated like its local sphere. A bell
    stands on the curve, not on a flat seat.
    Source: Karow, Fabrication Methods for Precision Optics, Wiley 1993, p. 524, as cited at
    http://www.opticsrealm.com/home/education/opto-mech/z-factor-lens-centerability; minus sign with signed radii derived.
    """
    return z_a_of_sines(front_sine=body.front.normal_sine(front_bell_mm), back_sine=body.back.normal_sine(back_bell_mm))


def z_b(*, z_a: float) -> float:
    """Z factor with bell radii and a half, |r1/R1 - r2/R2| / 2: a quarter of Z_A.

    Source: https://www.kenko-tokina.co.jp/mmf/topics/447.html (2018), sign derived.
    """
    return z_a / 4


def clamping_angle_deg(*, body: Body, bell_mm: float) -> float:
    """Included angle [deg] of the wedge between two bells of a semi-diameter [mm]: theta1 - theta2, theta = asin(y/R).

    Source: derived.
    """
    return math.degrees(abs(math.asin(body.front.normal_sine(bell_mm)) - math.asin(body.back.normal_sine(bell_mm))))


def wedge_arcmin(*, edge_difference_mm: float, diameter_mm: float) -> float:
    """Wedge angle [arcmin] of an edge thickness difference [mm] over a diameter [mm].

    Source: derived.
    """
    return math.degrees(edge_difference_mm / diameter_mm) * 60


@law
def edge_difference_mm(*, wedge_arcmin: float, diameter_mm: float) -> float:
    """Edge thickness difference [mm] over a diameter [mm] of a wedge [arcmin].

    Equation: diameter_mm * radians(wedge_arcmin / 60)
    Source: derived.
    """
    return diameter_mm * math.radians(wedge_arcmin / 60)


@law
def deviation_arcmin(*, wedge_arcmin: float, refractive_index: float) -> float:
    """Deviation [arcmin] of a beam by a thin wedge [arcmin].

    Equation: (refractive_index - 1) * wedge_arcmin
    Source: derived.
    """
    return (refractive_index - 1) * wedge_arcmin


@law
def decentre_mm(*, deviation_arcmin: float, focal_length_mm: float) -> float:
    """Distance [mm] of the optical from the mechanical axis, of a lens that deviates the axis by so much [arcmin].

    Equation: abs(focal_length_mm * radians(deviation_arcmin / 60))
    Source: derived.
    """
    return abs(focal_length_mm * math.radians(deviation_arcmin / 60))


@law
def centre_of_curvature_offset_mm(*, tilt_arcmin: float, radius_mm: float) -> float:
    """Offset [mm] of the centre of curvature of a face of a radius [mm] that is tilted [arcmin].

    Equation: abs(radius_mm) * radians(tilt_arcmin / 60)
    Source: https://spektrum.de/lexikon/optik/dezentrierung/613.
    """
    return abs(radius_mm) * math.radians(tilt_arcmin / 60)


def wedge(*, wedge_arcmin: float, diameter_mm: float, refractive_index: float, focal_length_mm: float | None) -> Wedge:
    """A wedge [arcmin] of an element of a diameter [mm] in all its words; without a focal length it has no decentre.

    Source: derived.
    """
    deviation = deviation_arcmin(wedge_arcmin=wedge_arcmin, refractive_index=refractive_index)
    return Wedge(
        wedge_arcmin=wedge_arcmin,
        edge_difference_mm=edge_difference_mm(wedge_arcmin=wedge_arcmin, diameter_mm=diameter_mm),
        deviation_arcmin=deviation,
        decentre_mm=None if focal_length_mm is None else decentre_mm(deviation_arcmin=deviation, focal_length_mm=focal_length_mm),
    )
