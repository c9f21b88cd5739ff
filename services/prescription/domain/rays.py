"""Exact rays: a sequential trace through centred spheres, conics and even aspheres, many rays and many trains at a time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from services.prescription.domain.train import AIR, CEMENT
from shared_schemas.prescription import Prescription, Surface

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

ORDERS = tuple(range(4, 21, 2))
"""Orders of the even terms of ISO 10110-12 that a face may have."""

MOST_STEPS = 20
CONVERGED_SHARE = 1e-13
"""Newton's search for an aspheric face ends below this share of the way's scale, and may not take more steps."""

FARTHEST_MM = 1e12
"""A figure beyond this is no longer a place in a workshop: the ray counts as lost."""


@dataclass(frozen=True)
class SurfaceOnAxis:
    """A refracting face: signed radius [mm] (`None` plano), its vertex on the axis [mm], the index behind it."""

    radius_mm: float | None
    vertex_mm: float
    index_after: float
    semi_diameter_mm: float
    conic: float = 0.0
    asphere: tuple[tuple[int, float], ...] = ()


@dataclass(frozen=True)
class Trains:
    """Faces of one train, or of several alike ones, as arrays: first axis the faces, second axis the trains.

    `curvature_per_mm`, `conic`, `way_mm` (from the face to the next) and `index_after` are (faces, trains); `terms` is
    (faces, trains, orders) with the even terms of `ORDERS`; `semi_diameter_mm` is (faces,).
    """

    curvature_per_mm: Floats
    conic: Floats
    way_mm: Floats
    index_after: Floats
    terms: Floats
    semi_diameter_mm: Floats


@dataclass(frozen=True)
class Bundle:
    """Rays: their points in a plane before the first vertex and their unit directions [-]; each (3, trains, rays).

    `points_mm` counts z from the first vertex.
    """

    points_mm: Floats
    directions: Floats


@dataclass(frozen=True)
class Traced:
    """Rays behind the last face, where z counts from the last vertex; (3, trains, rays) and (trains, rays).

    A ray is in one of `arrives`, `missed` and `reflected`; one that does not arrive has zeros for place and direction.
    """

    points_mm: Floats
    directions: Floats
    arrives: Flags
    missed: Flags
    reflected: Flags


def surfaces_of(prescription: Prescription, indices: Sequence[float]) -> tuple[SurfaceOnAxis, ...]:
    """The faces of a prescription, two for every element; `indices` has the index of each element.

    Notes: a cemented pair has a film of no thickness between its faces, as the first-order train has it.
    """
    faces: list[SurfaceOnAxis] = []
    vertex_mm = 0.0
    for i, (element, index) in enumerate(zip(prescription.elements, indices, strict=True)):
        space = prescription.spaces[i] if i < len(prescription.spaces) else None
        faces.append(_on_axis(element.front, vertex_mm, index))
        vertex_mm += element.centre_thickness_mm
        faces.append(_on_axis(element.back, vertex_mm, CEMENT if space is not None and space.cemented else AIR))
        vertex_mm += (space.gap_mm or 0.0) if space is not None else 0.0
    return tuple(faces)


def trains_of(surfaces: Sequence[SurfaceOnAxis]) -> Trains:
    """One train of faces as arrays."""
    vertices = [surface.vertex_mm for surface in surfaces]
    terms = np.zeros((len(surfaces), 1, len(ORDERS)))
    for row, surface in enumerate(surfaces):
        for order, coefficient in surface.asphere:
            terms[row, 0, ORDERS.index(order)] += coefficient
    return Trains(
        curvature_per_mm=_column([0.0 if s.radius_mm is None else 1 / s.radius_mm for s in surfaces]),
        conic=_column([s.conic for s in surfaces]),
        way_mm=_column([*(b - a for a, b in zip(vertices, vertices[1:], strict=False)), 0.0]),
        index_after=_column([s.index_after for s in surfaces]),
        terms=terms,
        semi_diameter_mm=np.array([s.semi_diameter_mm for s in surfaces]),
    )


def trace(*, surfaces: Sequence[SurfaceOnAxis], bundle: Bundle, index_before: float = AIR) -> Traced:
    """Rays through the faces of one train in their order; never NaN, never an exception for a ray that is lost."""
    return trace_trains(trains=trains_of(surfaces), bundle=bundle, index_before=index_before)


def trace_trains(*, trains: Trains, bundle: Bundle, index_before: float = AIR) -> Traced:
    """The same rays, or rays of its own for each, through every train.

    Notes: a ray is lost by missing a face, by leaving the sheet of the face that has the vertex, by turning round, or by
    total reflection. The signs of what must be positive are kept for every face and looked at once, at the end.
    Source: derived; the vector form of Snell's law as in Welford, Aberrations of Optical Systems (1986), from memory.
    """
    across, z = bundle.points_mm[:2].copy(), bundle.points_mm[2].copy()
    slant, forward = bundle.directions[:2], bundle.directions[2]
    faces = len(trains.curvature_per_mm)
    met = np.empty((faces, *np.broadcast_shapes(z.shape, trains.curvature_per_mm[0, :, None].shape)))
    bent = np.empty_like(met)
    ratios = _ratios(trains, index_before)
    conical = trains.conic.any(axis=1).tolist()
    aspheric = trains.terms.any(axis=(1, 2)).tolist()
    with np.errstate(all="ignore"):
        for i in range(faces):
            c, k = trains.curvature_per_mm[i][:, None], trains.conic[i][:, None] if conical[i] else None
            across = across - (z / forward) * slant
            across, z, normal, square, cosine, met[i] = _meet_conic(across, slant, forward, c, k)
            if aspheric[i]:
                kk = trains.conic[i][:, None]
                across, z, normal, square, cosine, met[i] = _meet_asphere(across, z, slant, forward, c, kk, trains.terms[i])
            ratio, lack = ratios[0][i], ratios[1][i]
            under = cosine * cosine * ratio * ratio + (lack if square is None else lack * square)
            gain = np.sqrt(np.abs(under)) - ratio * cosine
            if square is not None:
                gain /= square
            slant = ratio * slant - gain * normal[0]
            forward = ratio * forward + gain * normal[1]
            bent[i] = np.minimum(under, forward)
            z = z - trains.way_mm[i][:, None]
        return _sorted_out(across, z, slant, forward, met, bent)


def _ratios(trains: Trains, index_before: float) -> tuple[Floats, Floats]:
    """n / n' and 1 - (n / n')^2 at each face, (faces, trains, 1)."""
    before = np.concatenate([np.full_like(trains.index_after[:1], index_before), trains.index_after[:-1]])
    ratio = (before / trains.index_after)[:, :, None]
    return ratio, 1 - ratio * ratio


_Met = tuple[Floats, Floats, tuple[Floats, Floats], Floats | None, Floats, Floats]
"""Where rays meet a face: across, z, the normal (across, along), its square (`None`: 1), direction times normal, and what
is positive for a ray that meets it."""


def _meet_conic(across: Floats, slant: Floats, forward: Floats, c: Floats, k: Floats | None) -> _Met:
    """Rays from the plane of the vertex to a conic.

    Notes: c (x^2 + y^2 + (1 + k) z^2) = 2 z; the root that is 0 at the vertex. The normal (-c x, -c y, 1 - c (1 + k) z)
    has the square 1 - k c^2 (x^2 + y^2), and its product with the direction is the root of the discriminant.
    """
    height = across * across
    lean = across * slant
    b = forward - c * (lean[0] + lean[1])
    a = c if k is None else c * (1 + k * forward * forward)
    e = c * (height[0] + height[1])
    under = b * b - a * e
    cosine = np.sqrt(np.abs(under))
    way = e / (b + cosine)
    across = across + way * slant
    z = way * forward
    tilt = c * across
    if k is None:
        along = 1 - c * z
        return across, z, (tilt, along), None, cosine, np.minimum(under, along)
    along = 1 - c * (1 + k) * z
    square = tilt * tilt
    return across, z, (tilt, along), 1 - k * (square[0] + square[1]), cosine, np.minimum(under, along)


def _meet_asphere(
    across: Floats, z: Floats, slant: Floats, forward: Floats, c: Floats, k: Floats, terms: Floats
) -> _Met:
    """Rays onward from the conic to the face with its even terms, by Newton's search along each ray.

    A ray that misses the conic starts from the plane of the vertex instead. One that has not converged does not meet the face.
    """
    lost = ~np.isfinite(z)
    across, z = np.where(lost, 0.0, across), np.where(lost, 0.0, z)
    for _ in range(MOST_STEPS):
        sag, steepness, _inside = _sag_and_steepness(across, c, k, terms)
        lean = across * slant
        miss = z - sag
        step = miss / (forward - steepness * (lean[0] + lean[1]))
        across, z = across - step * slant, z - step * forward
        if np.all(~(np.abs(step) > CONVERGED_SHARE * (1 + np.abs(z)))):
            break
    sag, steepness, inside = _sag_and_steepness(across, c, k, terms)
    lean = across * slant
    cosine = forward - steepness * (lean[0] + lean[1])
    tilt = steepness * across
    square = 1 + tilt[0] * tilt[0] + tilt[1] * tilt[1]
    near = 100 * CONVERGED_SHARE * (1 + np.abs(z)) * square - np.abs(z - sag)
    met = np.where(lost, -1.0, np.minimum(np.minimum(near, inside), cosine))
    return across, z, (tilt, np.ones_like(z)), square, cosine, met


def _sag_and_steepness(across: Floats, c: Floats, k: Floats, terms: Floats) -> tuple[Floats, Floats, Floats]:
    """Sagitta [mm], slope over height [1/mm], and what is positive within the reach of the conic.

    Notes: z = c s / (1 + w) + sum A_n s^(n/2), s the square of the height, w^2 = 1 - (1 + k) c^2 s; slope over height is
    c / w + sum n A_n s^(n/2 - 1).
    """
    s = across[0] * across[0] + across[1] * across[1]
    inside = 1 - (1 + k) * (c * c) * s
    root = np.sqrt(np.maximum(inside, 1e-12))
    sag, steepness = np.zeros_like(s), np.zeros_like(s)
    for place in range(len(ORDERS) - 1, -1, -1):
        coefficient = terms[:, place, None]
        sag = sag * s + coefficient
        steepness = steepness * s + ORDERS[place] * coefficient
    return c * s / (1 + root) + sag * s * s, c / root + steepness * s, inside


def _sorted_out(across: Floats, z: Floats, slant: Floats, forward: Floats, met: Floats, bent: Floats) -> Traced:
    """Rays that arrive, and the reason of those that do not, which is that of the first face that loses them."""
    points = np.concatenate([across, np.broadcast_to(z, across.shape[1:])[None]])
    directions = np.concatenate([slant, np.broadcast_to(forward, slant.shape[1:])[None]])
    meets, bends = met > 0, bent > 0
    arrives = meets.all(axis=0) & bends.all(axis=0)
    arrives &= (np.abs(points) < FARTHEST_MM).all(axis=0) & (np.abs(directions) < 2).all(axis=0)
    if arrives.all():
        nobody = np.zeros_like(arrives)
        return Traced(points, directions, arrives, nobody, nobody)
    first = (~(meets & bends)).argmax(axis=0)[None]
    reflected = ~arrives & np.take_along_axis(meets & ~bends, first, axis=0)[0]
    return Traced(
        np.where(arrives, points, 0.0), np.where(arrives, directions, 0.0), arrives, ~arrives & ~reflected, reflected
    )


def _on_axis(face: Surface, vertex_mm: float, index_after: float) -> SurfaceOnAxis:
    asphere = tuple((int(order), coefficient) for order, coefficient in sorted(face.asphere.items()) if coefficient)
    conic = face.conic if face.radius_mm is not None else 0.0
    return SurfaceOnAxis(face.radius_mm, vertex_mm, index_after, face.clear_diameter_mm / 2, conic, asphere)


def _column(values: Sequence[float]) -> Floats:
    return np.array(values, dtype=np.float64)[:, None]
