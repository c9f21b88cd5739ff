"""The body of an element: edge, envelope, volume, mass, balance and proportions."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from services.optics.law import law
from services.optics.surface import Profile, is_aspheric, profile, reach_mm
from shared_schemas.prescription import Element
from shared_schemas.problem import FigureOutOfRange


@dataclass(frozen=True)
class Body:
    """The two profiles of an element with its centre thickness and finished semi-diameter [mm]."""

    front: Profile
    back: Profile
    centre_thickness_mm: float
    rim_mm: float


def body(*, element: Element) -> Body:
    """Both profiles of an element."""
    rim_mm = element.diameter_mm / 2
    return Body(
        front=profile(surface=element.front, rim_mm=rim_mm),
        back=profile(surface=element.back, rim_mm=rim_mm),
        centre_thickness_mm=element.centre_thickness_mm,
        rim_mm=rim_mm,
    )


STEEP_RIM = 0.425
"""Rim to radius of a convex face from which it meets the edge so bluntly that no bevel is needed (diameter 0.85 R).
Source: http://www.dreamlasers.com/html/TECHNOLOGY/TECHNOLOGY2/Optical/Bevels/."""

LEAST_EDGE_MM: tuple[tuple[float, float], ...] = ((6.0, 0.3), (25.0, 1.0), (50.0, 1.5), (float("inf"), 2.0))
"""Diameter up to which [mm], and the least edge thickness [mm] there. Common practice, from memory."""


def edge_thickness_mm(*, body: Body, height_mm: float) -> float:
    """Thickness [mm] of an element at a height [mm]; negative where the faces have crossed before it.

    Notes: ET = CT - z1 + z2 with signed sagittas; a face that ends before the height goes on as a flat seat.
    Source: derived.
    """
    return body.centre_thickness_mm - body.front.sag_mm(height_mm) + body.back.sag_mm(height_mm)


def least_edge_mm(*, diameter_mm: float) -> float:
    """Least edge thickness [mm] that practice asks for at a diameter [mm].

    Source: common practice, from memory.
    """
    return next(least for up_to, least in LEAST_EDGE_MM if diameter_mm <= up_to)


def envelope_mm(*, body: Body, diameter_mm: float) -> float:
    """Distance [mm] between the extreme planes of a lens whose faces go on to a diameter [mm], as on its blank.

    Raises `FigureOutOfRange` for a diameter of zero or less.
    Notes: max(CT + z2) - min(z1) over the diameter. A convex face adds nothing, a concave one its rim.
    Source: derived.
    """
    if not diameter_mm > 0:
        raise FigureOutOfRange("diameter [mm]", diameter_mm, "above 0")
    foremost, _ = body.front.sag_range_mm(diameter_mm / 2)
    _, hindmost = body.back.sag_range_mm(diameter_mm / 2)
    return body.centre_thickness_mm + hindmost - foremost


def disc_volume_mm3(*, diameter_mm: float, thickness_mm: float) -> float:
    """Volume [mm^3] of a disc, pi d^2 t / 4; raises `FigureOutOfRange` for a size of zero or less."""
    for name, size in (("diameter [mm]", diameter_mm), ("thickness [mm]", thickness_mm)):
        if not size > 0:
            raise FigureOutOfRange(name, size, "above 0")
    return math.pi * diameter_mm**2 * thickness_mm / 4


def needs_bevel(*, radius_mm: float | None, convex: bool, rim_mm: float, seat: bool) -> bool:
    """Whether the rim of a face gets a protective bevel: all but a convex one without a seat that is steep there.

    Args: size of the radius [mm] (`None` plano), whether the face bulges out of the glass, finished semi-diameter [mm], whether
    a flat seat lies outside the curve.
    Notes: none where y/|R| is 0.425 or more; a steep hollow face has the sharper edge.
    Source: as `STEEP_RIM`.
    """
    return not convex or seat or radius_mm is None or rim_mm < STEEP_RIM * abs(radius_mm)


NODES = 64
NODES_ACROSS_A_KNIFE_EDGE = 512


@dataclass(frozen=True)
class Solid:
    """Volume of an element [mm^3] and the place of its centre of gravity on the axis, counted from the front vertex [mm]."""

    volume_mm3: float
    centre_of_gravity_mm: float


@dataclass(frozen=True)
class _Under:
    """Integrals over a face to a height: of 2 pi r z [mm^3], and of pi r z^2 [mm^4]."""

    volume_mm3: float
    moment_mm4: float


def solid(*, body: Body, height_mm: float) -> Solid:
    """Volume and centre of gravity of an element turned to a semi-diameter [mm].

    Notes: V = pi y^2 CT - V1 + V2, where V_i is the integral of 2 pi r z_i; the moment is pi y^2 CT^2/2 + CT V2 + Q2 - Q1,
    where Q_i is that of pi r z_i^2. Faces that cross before the rim bound the glass where they meet; that is integrated by a
    rule of 512 points.
    Source: derived.
    """
    if edge_thickness_mm(body=body, height_mm=height_mm) < 0:
        return _with_a_knife_edge(body, height_mm)
    disc, thickness = math.pi * height_mm**2 * body.centre_thickness_mm, body.centre_thickness_mm
    front, back = _under_face(body.front, height_mm), _under_face(body.back, height_mm)
    volume = disc - front.volume_mm3 + back.volume_mm3
    moment = disc * thickness / 2 + thickness * back.volume_mm3 + back.moment_mm4 - front.moment_mm4
    return Solid(volume, moment / volume if volume > 0 else thickness / 2)


def volume_mm3(*, body: Body, height_mm: float) -> float:
    """Volume [mm^3] of an element turned to a semi-diameter [mm]; see `solid`."""
    return solid(body=body, height_mm=height_mm).volume_mm3


def under_sphere_mm3(*, radius_mm: float, height_mm: float) -> float:
    """Integral of 2 pi r z(r) [mm^3] of a sphere of a signed radius [mm] from the axis to a height [mm].

    Notes: with the sagitta h, pi y^2 h minus the cap pi h^2 (3R - h)/3, which is pi h^2 (R - 2h/3).
    Source: derived from the spherical cap.
    """
    h = _sphere_sag_mm(radius_mm, height_mm)
    return math.pi * h * h * (radius_mm - 2 * h / 3)


def moment_under_sphere_mm4(*, radius_mm: float, height_mm: float) -> float:
    """Integral of pi r z(r)^2 [mm^4] of a sphere of a signed radius [mm] from the axis to a height [mm].

    Notes: r dr = (R - z) dz on the sphere, so with the sagitta h it is pi h^3 (R/3 - h/4).
    Source: derived.
    """
    h = _sphere_sag_mm(radius_mm, height_mm)
    return math.pi * h**3 * (radius_mm / 3 - h / 4)


def _sphere_sag_mm(radius_mm: float, height_mm: float) -> float:
    ratio = height_mm / radius_mm
    return height_mm * ratio / (1 + math.sqrt(max(0.0, 1 - ratio * ratio)))


def _under_face(face: Profile, height_mm: float) -> _Under:
    curved = min(height_mm, face.curved_to_mm)
    ring, seat = math.pi * (height_mm**2 - curved**2), face.sag_mm(curved)
    if is_aspheric(surface=face.surface):
        nodes, weights = _rule(NODES)
        r = curved * nodes
        z = face.sags_mm(r)
        shares = weights * curved * math.pi * r * z
        return _Under(2 * float(shares.sum()) + ring * seat, float((shares * z).sum()) + ring * seat**2 / 2)
    radius = face.surface.radius_mm
    if radius is None:
        return _Under(0.0, 0.0)
    return _Under(
        under_sphere_mm3(radius_mm=radius, height_mm=curved) + ring * seat,
        moment_under_sphere_mm4(radius_mm=radius, height_mm=curved) + ring * seat**2 / 2,
    )


def _with_a_knife_edge(body: Body, height_mm: float) -> Solid:
    nodes, weights = _rule(NODES_ACROSS_A_KNIFE_EDGE)
    r = height_mm * nodes
    front, back = (face.sags_mm(r) for face in (body.front, body.back))
    behind = body.centre_thickness_mm + back
    rings = np.where(behind > front, weights * height_mm * 2 * math.pi * r, 0.0)
    volume = float((rings * (behind - front)).sum())
    moment = float((rings * (behind - front) * (behind + front) / 2).sum())
    return Solid(volume, moment / volume if volume > 0 else body.centre_thickness_mm / 2)


@cache
def _rule(points: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Gauss-Legendre nodes and weights on 0 to 1."""
    nodes, weights = np.polynomial.legendre.leggauss(points)
    return (nodes + 1) / 2, weights / 2


@law
def mass_g(*, volume_mm3: float, density_g_cm3: float) -> float:
    """Mass [g] of a volume [mm^3] of glass of a density [g/cm^3].

    Equation: volume_mm3 * density_g_cm3 / 1000
    Source: derived.
    """
    return volume_mm3 * density_g_cm3 / 1000.0


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
