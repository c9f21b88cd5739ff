"""How many equal circles stand in a circle: seats in a calotte. Layouts that can be drawn, no estimates."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
import numpy.typing as npt

from services.shop.layout.lenses_on_block import BEST_FLAT

Places = npt.NDArray[np.float64]

Rule = Literal["none", "best packing known", "hexagonal", "rings"]

SHIFTS = 4
"""Offsets of the lattice that are tried along each side of the triangle in which all different ones lie."""

MOST_DRAWN = 100.0
"""D/d above which circles are counted by area: a layout of ten thousand would take long."""

CELL_REACH = 1 / math.sqrt(3)
CELL_AREA = math.sqrt(3) / 2
"""Of the hexagon around each circle of the lattice: from its middle to a corner, and its area, in units of d."""

SLACK = 1e-9
"""Rounding of floating point that a circle more or less must not hang on."""


@dataclass(frozen=True)
class Packing:
    """How many circles, and by which layout."""

    circles: int
    rule: Rule


@lru_cache(maxsize=4096)
def circles_in_circle(*, ratio: float) -> Packing:
    """Circles of diameter d in a circle D, by their ratio D/d.

    Notes: up to twenty the best packings known, to their sixth decimal; above that the better of a hexagonal lattice, tried
    at several offsets, and of rings. Both stand at least d apart and inside D, so that no more is promised than finds room.
    Above D/d = 100 at least pi (r - 1/sqrt 3)^2 / (sqrt 3 / 2), r = (D/d - 1)/2: the cells of the lattice whose middle lies
    within r cover the circle that is smaller by the reach of one cell.

    Source: E. Specht's tables of circles in a circle up to twenty; lattice and rings derived.
    """
    if ratio < 1:
        return Packing(0, "none")
    if ratio < BEST_FLAT[-1]:
        return Packing(max(n for n, needed in enumerate(BEST_FLAT) if ratio >= needed - 1e-6), "best packing known")
    if ratio > MOST_DRAWN:
        return Packing(math.floor(math.pi * ((ratio - 1) / 2 - CELL_REACH) ** 2 / CELL_AREA), "hexagonal")
    laid: tuple[tuple[Rule, int], ...] = (
        ("best packing known", len(BEST_FLAT) - 1),
        ("hexagonal", len(hexagonal(ratio=ratio))),
        ("rings", sum(ring_counts(ratio=ratio))),
    )
    rule, most = max(laid, key=lambda one: one[1])
    return Packing(most, rule)


def hexagonal(*, ratio: float) -> Places:
    """Centres of the circles of a hexagonal lattice that stand in a circle, at the best offset tried, shape (n, 2), in units of d.

    Notes: the lattice is the same at every offset of a triangle between a circle, the middle of two and that of three.
    """
    reach = (ratio - 1) / 2
    rows = math.ceil(2 * reach / math.sqrt(3)) + 2
    row, column = np.meshgrid(np.arange(-rows, rows + 1), np.arange(-math.ceil(reach) - 2, math.ceil(reach) + 3), indexing="ij")
    lattice = np.stack(((column + row % 2 / 2).ravel(), row.ravel() * math.sqrt(3) / 2), axis=1)
    offsets = np.array(
        [
            (a / SHIFTS / 2, a / SHIFTS * b / SHIFTS / (2 * math.sqrt(3)))
            for a in range(SHIFTS + 1)
            for b in range(SHIFTS + 1 if a else 1)
        ]
    )
    x, y = (lattice[np.newaxis, :, axis] - offsets[:, axis, np.newaxis] for axis in (0, 1))
    inside = x**2 + y**2 <= (reach + SLACK) ** 2
    best = int(np.argmax(inside.sum(axis=1)))
    return np.asarray(lattice[inside[best]] - offsets[best])


def ring_counts(*, ratio: float) -> tuple[int, ...]:
    """Circles in each ring, outermost first; the last may be one in the middle.

    Notes: rings stand d apart, from (D - d)/2 inwards; one of radius r holds floor(pi / asin(d / 2r)), from two at d/2 on. One
    more stands in the middle when the ring around it is at least d away.
    """
    counts = []
    radius = (ratio - 1) / 2
    while radius >= 0.5 - SLACK:
        counts.append(math.floor(math.pi / math.asin(min(0.5 / radius, 1.0)) + SLACK))
        radius -= 1
    return (*counts, 1) if radius > -SLACK else tuple(counts)
