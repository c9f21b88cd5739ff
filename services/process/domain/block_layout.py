"""Where does each lens sit on a block?

A block is measured in pitches: `radius_ratio` is the radius of the surface over the diameter of a lens with its gap, as a chord.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from services.process.domain.block_improving import (
    TOUCHING,
    Ground,
    Points,
    least_distance,
    pushed_apart,
    scattered,
    spread,
    with_one_more,
)
from services.process.domain.block_patterns import hexagonal, in_rings
from services.process.domain.block_rings import SLACK, Cap, lenses_of, nested_rings, spaced_rings
from services.process.domain.blocks import BEST_FLAT, lenses_on_flat_block, refuse_no_cap, spherical_block_formula

SEARCHED_UP_TO = 250
"""Lenses up to which another is sought by pushing; on larger blocks the patterns hold more than the formula says."""

MOVES = 150
"""Moves that one try to find room for another lens may take."""

FORMULA_HOLDS_FROM, TRIES = 11, 3
"""Lenses from which on the published formula promises no more than finds room; and how often one that it promises is sought there.
Below, one try settles that it promised too much."""

SEEDS, ROUNDS, WIDE = 24, 14, 1.05
"""For a small flat block: how often lenses are strewn, how many aims are tried each time, and the first, in pitches."""

DIGITS = 10
"""Figures of a ratio and of an angle that a layout is remembered by."""

PLACES = 12
"""Decimals of a pitch that the edge of a block is rounded to: cosines differ in the last digit between machines."""

NEARLY_FLAT = 100.0
"""Radius over pitch from which on a block is laid out in the plane and raised to the sphere: angles get too small to reckon with."""


Centres = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class BlockLayout:
    """Lenses on a block, each at a place that can be drawn.

    Attributes:
        radius_ratio: radius of the surface over the pitch, None for a flat block.
        half_angle_deg: of the block, to the outer rim of the outermost lens [deg]; 0 for a flat one.
        width_ratio: width of the block over the pitch.
        pattern: which pattern won.
        centres: centre of each lens in pitches, shape (n, 3), from the centre of curvature with the axis of the block along z;
            on a flat block z is 0.
    """

    radius_ratio: float | None
    half_angle_deg: float
    width_ratio: float
    pattern: str
    centres: Centres = field(repr=False)

    @property
    def count(self) -> int:
        """Lenses on the block."""
        return len(self.centres)

    @property
    def directions(self) -> Centres:
        """Unit vectors from the centre of curvature to the centre of each lens, shape (n, 3); of a spherical block only."""
        return np.asarray(self.centres / np.linalg.norm(self.centres, axis=1, keepdims=True), dtype=np.float64)

    @cached_property
    def least_distance(self) -> float:
        """Distance of the nearest two centres, in pitches; infinite for a single lens."""
        return least_distance(self.centres.T)

    @property
    def separation_deg(self) -> float:
        """Angle between the nearest two lenses seen from the centre of curvature [deg]; 0 for a flat block, 360 for one lens."""
        if self.radius_ratio is None:
            return 0.0
        if math.isinf(self.least_distance):
            return 360.0
        return 2 * math.degrees(math.asin(min(self.least_distance / 2 / self.radius_ratio, 1.0)))

    @property
    def covered(self) -> float:
        """Share of the block's surface that lenses, with their gap, cover."""
        if self.radius_ratio is None:
            return self.count / self.width_ratio**2
        lens = math.asin(min(0.5 / self.radius_ratio, 1.0))
        return self.count * (1 - math.cos(lens)) / (1 - math.cos(math.radians(self.half_angle_deg)))


def layout_of(*, radius_ratio: float | None, half_angle_deg: float = 0.0, width_ratio: float = 0.0, tries: int = 1) -> BlockLayout:
    """The layout of a block.

    Args:
        radius_ratio: radius of the surface over the pitch of a lens as a chord; None for a flat block.
        half_angle_deg: of a spherical block, to the rim of the outermost lens [deg].
        width_ratio: of a flat block, its diameter over the pitch.
        tries: how often another lens is sought: with one, up to what the published formula says; with more, so often for each
            further lens until none finds room.

    Notes: fixed rings, nested rings and the hexagonal pattern; from the fullest of them, lenses are pushed about until another
        finds room. Bounded by moves, not by time, and the same on every machine.

    Raises: FigureOutOfRange for a lens wider than the sphere, or an angle that is not above 0 and up to 180 deg.
    """
    if radius_ratio is None:
        return _flat_layout(float(f"{width_ratio:.{DIGITS}g}"), tries)
    refuse_no_cap(radius_ratio, half_angle_deg)
    return _spherical_layout(float(f"{radius_ratio:.{DIGITS}g}"), float(f"{half_angle_deg:.{DIGITS}g}"), tries)


def forget_layouts() -> None:
    """Forget every layout, as a process that has just started; for measuring."""
    for remembered in (_flat_layout, _spherical_layout, nested_rings):
        remembered.cache_clear()


@lru_cache(maxsize=1024)
def _flat_layout(width_ratio: float, tries: int) -> BlockLayout:
    ground = Ground(math.inf, 0.0, max((width_ratio - 1) / 2, 0.0))
    pattern, points = ("no lens", np.empty((3, 0))) if width_ratio < 1 - SLACK else ("hexagonal", hexagonal(ground))
    wanted = lenses_on_flat_block(block_mm=width_ratio, pitch_mm=1.0)
    if points.shape[1] < wanted < len(BEST_FLAT):
        searched = _searched(ground, wanted)
        pattern, points = ("searched", searched) if searched is not None else (pattern, points)
    pattern, points = _filled([(pattern, points)], ground, wanted, tries)
    return _as_layout(None, 0.0, width_ratio, pattern, points)


def _searched(ground: Ground, count: int) -> Points | None:
    """So many lenses, from places strewn at random; for the few of a small flat block, whose best packings follow no pattern."""
    for seed in range(SEEDS):
        found = spread(scattered(ground, count, seed=seed), ground, first_aim=WIDE, rounds=ROUNDS, moves=MOVES, enough=TOUCHING)
        if least_distance(found) >= TOUCHING:
            return found
    return None


@lru_cache(maxsize=4096)
def _spherical_layout(radius_ratio: float, half_angle_deg: float, tries: int) -> BlockLayout:
    lens = math.asin(0.5 / radius_ratio)
    edge = min(math.radians(half_angle_deg), math.pi / 2 + lens)
    cap = Cap(lens, edge - lens)
    reach = max(cap.reach_rad, 0.0)
    ground = Ground(radius_ratio, round(radius_ratio * math.cos(reach), PLACES), round(radius_ratio * math.sin(reach), PLACES))
    wanted = math.floor(spherical_block_formula(radius_ratio=radius_ratio, half_angle_deg=half_angle_deg) + SLACK)
    pattern, points = _filled(_patterns(cap, ground), ground, wanted, tries)
    return _as_layout(radius_ratio, math.degrees(edge), 2 * radius_ratio * math.sin(edge), pattern, points)


def _patterns(cap: Cap, ground: Ground) -> list[tuple[str, Points]]:
    """The regular patterns, fullest first."""
    if cap.reach_rad < -SLACK * cap.lens_rad:
        return [("no lens", np.empty((3, 0)))]
    found = [("hexagonal", hexagonal(ground))]
    if ground.radius < NEARLY_FLAT:
        nested, spaced = nested_rings(cap), spaced_rings(cap)
        better = ("nested rings", nested) if lenses_of(nested) >= lenses_of(spaced) else ("spaced rings", spaced)
        found.append((better[0], in_rings(better[1], ground)))
    return sorted(found, key=lambda one: one[1].shape[1], reverse=True)


def _filled(patterns: list[tuple[str, Points]], ground: Ground, wanted: int, tries: int) -> tuple[str, Points]:
    """The fullest pattern, with lenses added as long as one finds room."""
    pattern, points = patterns[0]
    count = points.shape[1]
    while 2 <= count <= SEARCHED_UP_TO and (count < wanted or tries > 1):
        fuller = _one_more(points, ground, max(tries, 1 if count < FORMULA_HOLDS_FROM else TRIES))
        if fuller is None:
            break
        pattern, points, count = f"{patterns[0][0]}, pushed", fuller, count + 1
    return pattern, points


def _one_more(points: Points, ground: Ground, tries: int) -> Points | None:
    """One lens more, put first into the largest holes of the layout, then all of them strewn at random; None if none finds room."""
    count = points.shape[1]
    into_holes = (tries + 1) // 2
    for number in range(tries):
        if number < into_holes:
            start = with_one_more(points, ground, choice=number)
        else:
            start = scattered(ground, count + 1, seed=number - into_holes)
        pushed = pushed_apart(start, ground, moves=MOVES)
        if least_distance(pushed) >= TOUCHING:
            return pushed
    return None


def _as_layout(radius_ratio: float | None, half_angle_deg: float, width_ratio: float, pattern: str, points: Points) -> BlockLayout:
    centres = np.ascontiguousarray(points.T)
    centres.setflags(write=False)
    return BlockLayout(radius_ratio, half_angle_deg, width_ratio, pattern if len(centres) > 1 else "one lens", centres)
