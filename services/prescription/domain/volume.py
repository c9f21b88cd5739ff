"""Volume of an element: exact for spheres and planes, by quadrature for aspheres."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray

from services.prescription.domain.edge import edge_thickness_mm
from services.prescription.domain.profile import Body, Profile
from services.prescription.domain.sag import is_aspheric

NODES = 64
NODES_ACROSS_A_KNIFE_EDGE = 512


def volume_mm3(*, body: Body, height_mm: float) -> float:
    """Volume [mm^3] of an element turned to a semi-diameter [mm].

    Notes: V = pi y^2 CT - V1 + V2, where V_i is the integral of 2 pi r z_i. Faces that cross before the rim bound the glass
    where they meet; that is integrated by a rule of 512 points.
    Source: derived.
    """
    if edge_thickness_mm(body=body, height_mm=height_mm) < 0:
        return _volume_with_a_knife_edge_mm3(body, height_mm)
    disc = math.pi * height_mm**2 * body.centre_thickness_mm
    return disc - _under_face_mm3(body.front, height_mm) + _under_face_mm3(body.back, height_mm)


def under_sphere_mm3(*, radius_mm: float, height_mm: float) -> float:
    """Integral of 2 pi r z(r) [mm^3] of a sphere of a signed radius [mm] from the axis to a height [mm].

    Notes: with the sagitta h, pi y^2 h minus the cap pi h^2 (3R - h)/3, which is pi h^2 (R - 2h/3).
    Source: derived from the spherical cap.
    """
    ratio = height_mm / radius_mm
    h = height_mm * ratio / (1 + math.sqrt(max(0.0, 1 - ratio * ratio)))
    return math.pi * h * h * (radius_mm - 2 * h / 3)


def _under_face_mm3(face: Profile, height_mm: float) -> float:
    curved = min(height_mm, face.curved_to_mm)
    seat = math.pi * (height_mm**2 - curved**2) * face.sag_mm(curved)
    if is_aspheric(surface=face.surface):
        nodes, weights = _rule(NODES)
        return seat + _integral(face, curved, nodes, weights)
    if face.surface.radius_mm is None:
        return 0.0
    return seat + under_sphere_mm3(radius_mm=face.surface.radius_mm, height_mm=curved)


def _integral(face: Profile, height_mm: float, nodes: NDArray[np.float64], weights: NDArray[np.float64]) -> float:
    return math.fsum(
        weight * height_mm * 2 * math.pi * (height_mm * node) * face.sag_mm(height_mm * node)
        for node, weight in zip(nodes.tolist(), weights.tolist(), strict=True)
    )


def _volume_with_a_knife_edge_mm3(body: Body, height_mm: float) -> float:
    nodes, weights = _rule(NODES_ACROSS_A_KNIFE_EDGE)
    return math.fsum(
        weight * height_mm * 2 * math.pi * r * max(0.0, edge_thickness_mm(body=body, height_mm=r))
        for r, weight in zip((height_mm * nodes).tolist(), weights.tolist(), strict=True)
    )


@cache
def _rule(points: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Gauss-Legendre nodes and weights on 0 to 1."""
    nodes, weights = np.polynomial.legendre.leggauss(points)
    return (nodes + 1) / 2, weights / 2
