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


@law
def thickness_at_mm(*, centre_thickness_mm: float, sag_front_mm: float, sag_back_mm: float) -> float:
    """Thickness [mm] of an element where its faces have signed sagittas [mm]; negative where they have crossed before.

    Equation: centre_thickness_mm - sag_front_mm + sag_back_mm
    Source: derived.
    """
    return centre_thickness_mm - sag_front_mm + sag_back_mm


@law
def air_gap_mm(*, axial_mm: float, sag_before_mm: float, sag_behind_mm: float) -> float:
    """Air [mm] between two neighbours, parallel to the axis, where their faces have signed sagittas [mm]; negative where they meet.

    Equation: axial_mm - sag_before_mm + sag_behind_mm
    Source: derived.
    """
    return axial_mm - sag_before_mm + sag_behind_mm


@law
def seat_width_mm(*, rim_mm: float, curved_mm: float) -> float:
    """Width [mm] of the flat seat or step outside a curve.

    Equation: rim_mm - curved_mm
    Source: definition.
    """
    return rim_mm - curved_mm


@law
def semi_diameter_to_radius(*, semi_diameter_mm: float, radius_mm: float) -> float:
    """Semi-diameter of a curve [mm] to its radius [mm]: the sine of its half-angle on a sphere.

    Equation: semi_diameter_mm / abs(radius_mm)
    Source: definition.
    """
    return semi_diameter_mm / abs(radius_mm)


@law
def semi_diameter_mm(*, diameter_mm: float) -> float:
    """Semi-diameter [mm] of a diameter [mm].

    Equation: diameter_mm / 2
    Source: definition.
    """
    return diameter_mm / 2


def edge_thickness_mm(*, body: Body, height_mm: float) -> float:
    """Thickness [mm] of an element at a height [mm]; negative where the faces have crossed before it.

    Notes: ET = CT - z1 + z2 with signed sagittas; a face that ends before the height goes on as a flat seat.
    Source: derived.
    """
    return thickness_at_mm(
        centre_thickness_mm=body.centre_thickness_mm,
        sag_front_mm=body.front.sag_mm(height_mm),
        sag_back_mm=body.back.sag_mm(height_mm),
    )


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
    return between_planes_mm(centre_thickness_mm=body.centre_thickness_mm, hindmost_mm=hindmost, foremost_mm=foremost)


@law
def between_planes_mm(*, centre_thickness_mm: float, hindmost_mm: float, foremost_mm: float) -> float:
    """Distance [mm] between the extreme planes of a lens: from the least sagitta of its front to the greatest of its back.

    Equation: centre_thickness_mm + hindmost_mm - foremost_mm
    Source: derived.
    """
    return centre_thickness_mm + hindmost_mm - foremost_mm


@law
def disc_volume_mm3(*, diameter_mm: float, thickness_mm: float) -> float:
    """Volume [mm^3] of a disc; raises `FigureOutOfRange` for a size of zero or less.

    Equation: pi * diameter_mm**2 * thickness_mm / 4
    Source: derived.
    """
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
class UnderFace:
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
    thickness = body.centre_thickness_mm
    front, back = under_face(body.front, height_mm), under_face(body.back, height_mm)
    volume = between_faces_mm3(
        rim_mm=height_mm, centre_thickness_mm=thickness, under_front_mm3=front.volume_mm3, under_back_mm3=back.volume_mm3
    )
    moment = moment_of_body_mm4(
        rim_mm=height_mm,
        centre_thickness_mm=thickness,
        under_back_mm3=back.volume_mm3,
        moment_front_mm4=front.moment_mm4,
        moment_back_mm4=back.moment_mm4,
    )
    return Solid(volume, centre_of_gravity_mm(moment_mm4=moment, volume_mm3=volume) if volume > 0 else thickness / 2)


@law
def between_faces_mm3(*, rim_mm: float, centre_thickness_mm: float, under_front_mm3: float, under_back_mm3: float) -> float:
    """Volume [mm^3] of an element of a semi-diameter [mm] out of the integrals of 2 pi r z under its faces [mm^3].

    Equation: pi * rim_mm**2 * centre_thickness_mm - under_front_mm3 + under_back_mm3
    Source: derived.
    """
    return math.pi * rim_mm**2 * centre_thickness_mm - under_front_mm3 + under_back_mm3


@law
def moment_of_body_mm4(
    *, rim_mm: float, centre_thickness_mm: float, under_back_mm3: float, moment_front_mm4: float, moment_back_mm4: float
) -> float:
    """Moment [mm^4] of an element about the plane of its front vertex; those of its faces are integrals of pi r z^2.

    Equation: pi * rim_mm**2 * centre_thickness_mm**2 / 2 + centre_thickness_mm * under_back_mm3 + moment_back_mm4 - moment_front_mm4
    Source: derived.
    """
    disc = math.pi * rim_mm**2 * centre_thickness_mm
    return disc * centre_thickness_mm / 2 + centre_thickness_mm * under_back_mm3 + moment_back_mm4 - moment_front_mm4


@law
def centre_of_gravity_mm(*, moment_mm4: float, volume_mm3: float) -> float:
    """Place [mm] of the centre of gravity behind the plane that the moment [mm^4] is about.

    Equation: moment_mm4 / volume_mm3
    Source: definition.
    """
    return moment_mm4 / volume_mm3


def volume_mm3(*, body: Body, height_mm: float) -> float:
    """Volume [mm^3] of an element turned to a semi-diameter [mm]; see `solid`."""
    return solid(body=body, height_mm=height_mm).volume_mm3


@law
def under_sphere_mm3(*, radius_mm: float, sag_mm: float) -> float:
    """Integral of 2 pi r z(r) [mm^3] of a sphere of a signed radius [mm] from the axis to where its sagitta is so large [mm].

    Equation: pi * sag_mm**2 * (radius_mm - 2 * sag_mm / 3)
    Notes: pi y^2 h minus the cap pi h^2 (3R - h)/3.
    Source: derived from the spherical cap.
    """
    return math.pi * sag_mm * sag_mm * (radius_mm - 2 * sag_mm / 3)


@law
def moment_under_sphere_mm4(*, radius_mm: float, sag_mm: float) -> float:
    """Integral of pi r z(r)^2 [mm^4] of a sphere of a signed radius [mm] from the axis to where its sagitta is so large [mm].

    Equation: pi * sag_mm**3 * (radius_mm / 3 - sag_mm / 4)
    Notes: r dr = (R - z) dz on the sphere.
    Source: derived.
    """
    return math.pi * sag_mm**3 * (radius_mm / 3 - sag_mm / 4)


@law
def under_seat_mm3(*, curved_mm: float, rim_mm: float, sag_mm: float) -> float:
    """Integral of 2 pi r z(r) [mm^3] of a flat seat of a sagitta [mm] from where it begins to the rim [mm].

    Equation: pi * (rim_mm**2 - curved_mm**2) * sag_mm
    Source: derived.
    """
    return math.pi * (rim_mm**2 - curved_mm**2) * sag_mm


def under_face(face: Profile, height_mm: float) -> UnderFace:
    """The integrals under a face to a height [mm]: closed for spheres and planes, by Gauss-Legendre rules of 64 points for aspheres."""
    curved = min(height_mm, face.curved_to_mm)
    seat = face.sag_mm(curved)
    ring = under_seat_mm3(curved_mm=curved, rim_mm=height_mm, sag_mm=seat)
    if is_aspheric(surface=face.surface):
        rim = min(face.rim_mm, curved)  # past it the terms stay what they are, which is a kink
        zones = [_under_zone(face, low, high) for low, high in ((0.0, rim), (rim, curved)) if high > low]
        under, moment = (sum(part) for part in zip(*zones, strict=True))
        return UnderFace(under + ring, moment + ring * seat / 2)
    radius = face.surface.radius_mm
    if radius is None:
        return UnderFace(0.0, 0.0)
    return UnderFace(
        under_sphere_mm3(radius_mm=radius, sag_mm=seat) + ring,
        moment_under_sphere_mm4(radius_mm=radius, sag_mm=seat) + ring * seat / 2,
    )


def _under_zone(face: Profile, from_mm: float, to_mm: float) -> tuple[float, float]:
    """The integrals of 2 pi r z and of pi r z^2 between two heights."""
    nodes, weights = _rule(NODES)
    r = from_mm + (to_mm - from_mm) * nodes
    z = face.sags_mm(r)
    shares = weights * (to_mm - from_mm) * math.pi * r * z
    return 2 * float(shares.sum()), float((shares * z).sum())


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


@law
def diameter_to_thickness(*, diameter_mm: float, centre_thickness_mm: float) -> float:
    """Diameter to centre thickness, a measure of how much a part bends.

    Equation: diameter_mm / centre_thickness_mm
    Source: common practice.
    """
    return diameter_mm / centre_thickness_mm


def share_of_reach(*, face: Profile, height_mm: float) -> float:
    """How near a height [mm] is to where the face ends, 0 to 1; y/|R| for a sphere.

    Source: derived.
    """
    return height_mm / reach_mm(surface=face.surface)


@law
def centres_apart_mm(*, front_radius_mm: float, back_radius_mm: float, centre_thickness_mm: float) -> float:
    """Distance [mm] between the centres of curvature of two faces with signed radii [mm].

    Equation: abs(front_radius_mm - back_radius_mm - centre_thickness_mm)
    Source: derived.
    """
    return abs(front_radius_mm - back_radius_mm - centre_thickness_mm)
