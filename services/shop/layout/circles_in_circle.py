"""How many equal circles lie in a circle, and where? Slices of a sawn disc, flat blocks and calottes all ask it here.

Lengths are in diameters of the small circle; where circles keep a gap, the pitch is their diameter.
"""

from __future__ import annotations

import csv
import math
from bisect import bisect_right
from dataclasses import dataclass
from functools import cached_property, lru_cache
from importlib.resources import files
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Places = NDArray[np.float64]
"""Centres, shape (n, 2), from the middle of the large circle."""

Pattern = Literal["none", "best packing known", "hexagonal", "hexagonal, counted by area"]

SLACK = 1e-11
"""Rounding of floating point that a circle more or less must not hang on."""

ROW = math.sqrt(0.75)
"""Distance of two rows of touching circles."""

CELL_REACH, CELL_AREA = 1 / math.sqrt(3), ROW
"""Of the hexagon around each circle of the lattice: from its middle to a corner, and its area."""

GRID = 16
OFFSETS = np.array(
    [(a / (2 * GRID), b / (2 * GRID * math.sqrt(3))) for a in range(GRID + 1) for b in range(a + 1)]
    + [(a / 12, b / 24) for b in range(9) for a in range(7)]
).T
"""Places of the middle among the circles of a lattice, shape (2, n): a grid over the triangle between a circle, the middle of two and
that of three, of which all others are images, and a square grid, which has others between."""

MOST_COUNTED = 1000.0
"""D/d above which circles are counted by area: rows would take long."""

UNIT = 1e-7
"""Of the whole numbers in the file of packings."""


@dataclass(frozen=True, eq=False)
class CirclesInCircle:
    """Equal circles in a circle, each at a place that can be drawn.

    Attributes:
        ratio: D/d.
        count: how many circles.
        pattern: how they lie.
        offset: of the middle from a circle of the lattice, where they lie in one.
    """

    ratio: float
    count: int
    pattern: Pattern
    offset: tuple[float, float] = (0.0, 0.0)

    @cached_property
    def centres(self) -> Places:
        """At least 1 apart and within (D/d - 1)/2 of the middle, sorted; a known packing is spread until it touches the rim."""
        if not self.count:
            return np.empty((0, 2))
        places = _spread(self) if self.pattern == "best packing known" else _lattice(self)
        places = places[np.lexsort(places.T[::-1])]
        places.setflags(write=False)
        return places


@lru_cache(maxsize=4096)
def circles_in_circle(*, ratio: float) -> CirclesInCircle:
    """As many circles of diameter d as are known here to lie in a circle D, by their ratio D/d.

    Notes: the better of two. The packings of `circles_in_circle.csv`, up to 127 circles, as a long search found them (overlaps
    settled downhill from many starts, single circles moved into holes, the circle shrunk): at whole ratios from 1 to 12 they hold
    as many as the best that are published. A hexagonal lattice at the best of many offsets, counted row by row; above 127 circles
    it is alone, and one to three in a hundred below the best known. Never falls as the ratio rises; the same on every machine.
    Above D/d = 1000 pi (r - 1/sqrt 3)^2 / (sqrt 3 / 2), r = (D/d - 1)/2: the cells of the lattice whose middle lies within r
    cover the circle that is smaller by the reach of one cell.
    """
    if not ratio >= 1 - SLACK:
        return CirclesInCircle(ratio, 0, "none")
    if ratio > MOST_COUNTED:
        by_area = math.floor(math.pi * ((ratio - 1) / 2 - CELL_REACH) ** 2 / CELL_AREA)
        most = circles_in_circle(ratio=MOST_COUNTED)
        return most if most.count >= by_area else CirclesInCircle(ratio, by_area, "hexagonal, counted by area")
    packed = _packings().most(ratio)
    counts = _lattice_counts((ratio - 1) / 2)
    best = int(np.argmax(counts))
    if packed >= counts[best]:
        return CirclesInCircle(ratio, packed, "best packing known")
    return CirclesInCircle(ratio, int(counts[best]), "hexagonal", (float(OFFSETS[0, best]), float(OFFSETS[1, best])))


def forget_circles() -> None:
    """Forget every layout known, as when the process started; for measuring."""
    circles_in_circle.cache_clear()


@dataclass(frozen=True)
class _Packings:
    """Rows of the file, by rising number of circles and rising ratio."""

    ratios: tuple[float, ...]
    counts: tuple[int, ...]
    rows: tuple[str, ...]

    def most(self, ratio: float) -> int:
        """Circles of the fullest packing that the ratio holds."""
        place = bisect_right(self.ratios, ratio + SLACK)
        return self.counts[place - 1] if place else 0

    def places(self, circles: int) -> Places:
        """The centres of a packing."""
        row = self.rows[self.counts.index(circles)]
        return np.asarray(np.array(row.split(), dtype=np.int64).reshape(-1, 2) * UNIT, dtype=np.float64)


@lru_cache(maxsize=1)
def _packings() -> _Packings:
    """Packings that hold more than the lattice does at their ratio; those that hold no more than a smaller one are left out."""
    text = files(__package__).joinpath("circles_in_circle.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    return _Packings(
        tuple(float(row["ratio"]) for row in rows), tuple(int(row["circles"]) for row in rows), tuple(row["places"] for row in rows)
    )


def _spread(laid: CirclesInCircle) -> Places:
    places = _packings().places(laid.count)
    return np.asarray(places * ((laid.ratio - 1) / 2 / np.hypot(*places.T).max()), dtype=np.float64)


def _lattice_counts(reach: float) -> NDArray[np.int64]:
    """How many places of the lattice lie within the reach, for every offset."""
    _, first, last = _rows(reach, OFFSETS)
    return np.asarray((last - first + 1).sum(axis=0), dtype=np.int64)


def _rows(reach: float, offsets: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Numbers of the rows, shape (rows, 1), and of the first and the last place in each that lies within the reach, for every offset."""
    outermost = math.ceil(reach / ROW) + 1
    row = np.arange(-outermost, outermost + 1)[:, None]
    across = (reach + SLACK) ** 2 - (ROW * row - offsets[1]) ** 2
    half = np.sqrt(np.maximum(across, 0.0))
    shift = row % 2 / 2 - offsets[0]
    first = np.where(across >= 0, np.ceil(-half - shift), 0).astype(np.int64)
    last = np.where(across >= 0, np.floor(half - shift), -1).astype(np.int64)
    return row, first, last


def _lattice(laid: CirclesInCircle) -> Places:
    """Places of the lattice nearest to the middle, as many as were counted."""
    row, first, last = _rows((laid.ratio - 1) / 2, np.array(laid.offset)[:, None])
    places = [
        np.column_stack(
            (np.arange(begin, end + 1) + number % 2 / 2 - laid.offset[0], np.full(end - begin + 1, ROW * number - laid.offset[1]))
        )
        for number, begin, end in zip(row.ravel().tolist(), first.ravel().tolist(), last.ravel().tolist(), strict=True)
        if end >= begin
    ] or [np.empty((0, 2))]
    every = np.concatenate(places)
    return np.asarray(every[np.argsort(np.hypot(*every.T).round(9), kind="stable")[: laid.count]], dtype=np.float64)
