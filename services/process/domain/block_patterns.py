"""Which regular patterns of lenses does a block hold, and where does each lens stand?"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from services.process.domain.block_improving import Ground, Points
from services.process.domain.block_rings import Ring

DIGITS = 12
"""Positions are rounded to so many decimals of a pitch: sines differ in the last digit between machines."""

EDGE_SLACK = 1e-9
"""Rounding, in pitches, that a lens at the edge of a block must not hang on."""

ROW = math.sqrt(0.75)
"""Distance of two rows of touching circles, in pitches."""

MANY = 30.0
"""Half-width of a block, in pitches, from which on only the points of symmetry are tried as its axis: others gain next to nothing."""

SHIFTS = tuple((a / 12, b / 24) for b in range(9) for a in range(7))
"""Places of the block's axis among the lenses, in pitches: a grid over the corner of the pattern that all others mirror, its points of
symmetry (on a lens, between two, between three) among the few below."""

SYMMETRIC = ((0.0, 0.0), (0.5, 0.0), (0.5, ROW / 3), (0.25, ROW / 2))


def in_rings(rings: tuple[Ring, ...], ground: Ground) -> Points:
    """Centres of the lenses of rings on a sphere."""
    angles = [
        (ring.polar_rad, ring.phase_rad + 2 * math.pi * number / ring.lenses) for ring in rings for number in range(ring.lenses)
    ]
    points = [
        (math.sin(polar) * math.cos(longitude), math.sin(polar) * math.sin(longitude), math.cos(polar))
        for polar, longitude in angles
    ]
    return np.round(ground.radius * np.array(points).reshape(-1, 3).T, DIGITS)


def hexagonal(ground: Ground) -> Points:
    """The hexagonal pattern, its axis where most lenses find room; on a sphere each lens stands above its place in the plane.

    Notes: raised to the sphere no two lenses come nearer to each other than in the plane, since heights only add to a distance.
    """
    lattice = _lattice(math.ceil(ground.width) + 2)
    shifts = _SHIFTS if ground.width < MANY else _SHIFTS[:, : len(SYMMETRIC)]
    x = lattice[0][:, None] - shifts[0]
    y = lattice[1][:, None] - shifts[1]
    inside = x * x + y * y <= (ground.width + EDGE_SLACK) ** 2
    best = int(np.argmax(np.count_nonzero(inside, axis=0)))
    chosen = inside[:, best]
    x, y = x[chosen, best], y[chosen, best]
    if ground.flat:
        return np.stack((x, y, np.zeros_like(x)))
    return np.stack((x, y, np.sqrt(np.maximum(ground.radius**2 - x * x - y * y, ground.height**2))))


@lru_cache(maxsize=64)
def _lattice(rows: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Touching circles of diameter 1 about the origin, out to so many rows."""
    number = np.arange(-rows, rows + 1)
    across, up = np.meshgrid(number, number)
    x, y = np.asarray(across + 0.5 * (up % 2), dtype=np.float64).ravel(), np.asarray(ROW * up, dtype=np.float64).ravel()
    within = x * x + y * y <= rows**2
    return x[within], y[within]


_SHIFTS = np.array((*SYMMETRIC, *SHIFTS)).T
