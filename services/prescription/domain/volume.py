"""Volume and centre of gravity of an element: exact for spheres and planes, by quadrature for aspheres."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from services.prescription.domain.edge import edge_thickness_mm
from services.prescription.domain.profile import Body, Profile
from services.prescription.domain.sag import is_aspheric, sags_mm

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
        z = sags_mm(surface=face.surface, heights_mm=r)
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
    front, back = (sags_mm(surface=face.surface, heights_mm=np.minimum(r, face.curved_to_mm)) for face in (body.front, body.back))
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
