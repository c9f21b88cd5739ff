"""Exact trace of rays through centred spheres, conics and even aspheres: many rays and many alike trains at a time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from services.optics.train import AIR

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


def trace_trains(*, trains: Trains, bundle: Bundle, index_before: float = AIR, within_clear: Flags | None = None) -> Traced:
    """The same rays, or rays of its own for each, through every train.

    Where `within_clear`, (trains,), is set, a ray that meets a face outside its clear diameter misses it.
    Notes: a ray is lost by missing a face, by leaving the sheet of the face that has the vertex, by turning round, or by
    total reflection. The signs of what must be positive are kept for every face and looked at once, at the end.
    Source: derived.
    """
    across, z = bundle.points_mm[:2], bundle.points_mm[2]
    slant, forward = bundle.directions[:2], bundle.directions[2]
    curvature, conic, way = (_plain(each) for each in (trains.curvature_per_mm, trains.conic, trains.way_mm))
    ratio, lack = _ratios(trains, index_before)
    conical, aspheric = np.any(trains.conic != 0, axis=1), np.any(trains.terms != 0, axis=(1, 2))
    signs: list[Floats] = []
    bent: list[Floats] = []
    places: list[Floats] = []
    with np.errstate(all="ignore"):
        for i, c in enumerate(curvature):
            signs.append(forward)
            across = across - (z / forward) * slant
            across, z, tilt, along, square, cosine, good = _meet_conic(across, slant, forward, c, conic[i] if conical[i] else None)
            if aspheric[i]:
                found = _meet_asphere(across, z, slant, forward, c, conic[i], trains.terms[i])
                across, z, tilt, along, square, cosine, good = found
            slant, forward, under = _bend(slant, forward, tilt, along, square, cosine, ratio[i], lack[i])
            z = z - way[i]
            signs.extend((good, along))
            bent.append(under)
            places.append(across)
        shape = np.broadcast_shapes(z.shape, (trains.way_mm.shape[1], 1))
        meets: Flags = np.all(np.reshape(np.greater(_stacked(signs, shape), 0), (len(way), 3, *shape)), axis=1)
        if within_clear is not None:
            meets &= _within(trains, _stacked(places, (2, *shape)), within_clear)
        return _sorted_out(across, z, slant, forward, meets, np.greater(_stacked(bent, shape), 0))


def _bend(
    slant: Floats,
    forward: Floats,
    tilt: Floats,
    along: Floats,
    square: Floats | None,
    cosine: Floats,
    ratio: Floats | float,
    lack: Floats | float,
) -> tuple[Floats, Floats, Floats]:
    """Directions behind a face, and what is positive for a ray that is not totally reflected.

    Notes: with m = n/n', the normal N of square q and its product g with the direction D,
    D' = m D + N (sqrt(m^2 g^2 + (1 - m^2) q) - m g) / q.
    Source: Snell's law in vector form; Welford, Aberrations of Optical Systems (1986), from memory.
    """
    before = ratio * cosine
    under = before * before + (lack if square is None else lack * square)
    gain = np.sqrt(np.abs(under)) - before
    if square is not None:
        gain = gain / square
    return ratio * slant - gain * tilt, ratio * forward + gain * along, under


def _stacked(each: Sequence[Floats], shape: tuple[int, ...]) -> Floats:
    """Arrays of one shape, or that broadcast to it, with a first axis for the faces."""
    if all(one.shape == shape for one in each):
        return np.concatenate(each).reshape(len(each), *shape)
    return np.stack([np.broadcast_to(one, shape) for one in each])


def _within(trains: Trains, across: Floats, within_clear: Flags) -> Flags:
    """Which rays, (faces, trains, rays), meet each face within its clear diameter, where that counts."""
    square = (across * across).sum(axis=1)
    limit = (1 + 1e-9) * trains.semi_diameter_mm[:, None, None] ** 2
    found: Flags = (square <= limit) | ~within_clear[None, :, None]
    return found


def _plain(values: Floats) -> Sequence[Floats | float]:
    """What each face has, as a float for one train, which is faster, and as (trains, 1) for several."""
    return values[:, 0].tolist() if values.shape[1] == 1 else list(values[:, :, None])


def _ratios(trains: Trains, index_before: float) -> tuple[Sequence[Floats | float], Sequence[Floats | float]]:
    """n / n' and 1 - (n / n')^2 at each face."""
    before = np.concatenate([np.full_like(trains.index_after[:1], index_before), trains.index_after[:-1]])
    ratio = before / trains.index_after
    return _plain(ratio), _plain(1 - ratio * ratio)


_Met = tuple[Floats, Floats, Floats, Floats, Floats | None, Floats, Floats]
"""Where rays meet a face: across, z, minus the normal across and the normal along, its square (`None`: 1), direction times
normal, and what is positive for a ray that meets it."""


def _meet_conic(across: Floats, slant: Floats, forward: Floats, c: Floats | float, k: Floats | float | None) -> _Met:
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
        return across, z, tilt, 1 - c * z, None, cosine, under
    along = 1 - c * (1 + k) * z
    square = tilt * tilt
    return across, z, tilt, along, 1 - k * (square[0] + square[1]), cosine, under


def _meet_asphere(
    across: Floats, z: Floats, slant: Floats, forward: Floats, c: Floats | float, k: Floats | float, terms: Floats
) -> _Met:
    """Rays onward from the conic to the face with its even terms, by Newton's search along each ray.

    A ray that has not converged, or lands outside the reach of the conic, does not meet the face.
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
    return across, z, tilt, np.ones_like(z), square, cosine, met


def _sag_and_steepness(across: Floats, c: Floats | float, k: Floats | float, terms: Floats) -> tuple[Floats, Floats, Floats]:
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


def _sorted_out(across: Floats, z: Floats, slant: Floats, forward: Floats, meets: Flags, bends: Flags) -> Traced:
    """Rays that arrive, and the reason of those that do not, which is that of the first face that loses them."""
    points = np.concatenate([across, np.broadcast_to(z, across.shape[1:])[None]])
    directions = np.concatenate([slant, np.broadcast_to(forward, slant.shape[1:])[None]])
    arrives = meets.all(axis=0) & bends.all(axis=0) & (directions[2] > 0)
    arrives &= (np.abs(points) < FARTHEST_MM).all(axis=0) & (np.abs(directions) < 2).all(axis=0)
    if arrives.all():
        nobody = np.zeros_like(arrives)
        return Traced(points, directions, arrives, nobody, nobody)
    first = (~(meets & bends)).argmax(axis=0)[None]
    reflected = ~arrives & np.take_along_axis(meets & ~bends, first, axis=0)[0]
    return Traced(np.where(arrives, points, 0.0), np.where(arrives, directions, 0.0), arrives, ~arrives & ~reflected, reflected)
