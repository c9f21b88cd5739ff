"""Where does each lens sit on a block?

A block is measured in pitches: `radius_ratio` is the radius of the surface over the diameter of a lens with its gap, as a chord.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from services.shop.layout.pushing import (
    TOUCHING,
    Ground,
    Points,
    least_distance,
    pushed_apart,
    scattered,
    spread,
    with_one_more,
)
from services.shop.layout.rings_on_sphere import SLACK, Cap, Ring, lenses_of, nested_rings, spaced_rings
from shared_schemas.problem import FigureOutOfRange

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

FILL = 0.75
"""Share of a block's area that lenses cover; with the edge term of 1/2 the two formulas follow the best packings known."""

BEST_FLAT = (
    0.0, 1.0, 2.0, 2.154701, 2.414214, 2.701302, 3.0, 3.0, 3.304765, 3.613126, 3.813026, 3.923804, 4.029602, 4.236068, 4.328429, 4.521357,
    4.615426, 4.792034, 4.863703, 4.863703, 5.122321,
)  # fmt: skip
"""Smallest D/d that holds N equal circles, N = 0 to 20 (best-known packings of circles in a circle; E. Specht's tables)."""

DECIMALS = 12
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
    _refuse_no_cap(radius_ratio, half_angle_deg)
    return _spherical_layout(float(f"{radius_ratio:.{DIGITS}g}"), float(f"{half_angle_deg:.{DIGITS}g}"), tries)


def forget_layouts() -> None:
    """Forget every layout, as a process that has just started; for measuring."""
    for remembered in (_flat_layout, _spherical_layout, nested_rings):
        remembered.cache_clear()


@lru_cache(maxsize=1024)
def _flat_layout(width_ratio: float, tries: int) -> BlockLayout:
    ground = Ground(math.inf, 0.0, max((width_ratio - 1) / 2, 0.0))
    pattern, points = ("no lens", np.empty((3, 0))) if width_ratio < 1 - SLACK else ("hexagonal", _hexagonal(ground))
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
    found = [("hexagonal", _hexagonal(ground))]
    if ground.radius < NEARLY_FLAT:
        nested, spaced = nested_rings(cap), spaced_rings(cap)
        better = ("nested rings", nested) if lenses_of(nested) >= lenses_of(spaced) else ("spaced rings", spaced)
        found.append((better[0], _in_rings(better[1], ground)))
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


def flat_block_formula(*, diameter_ratio: float) -> float:
    """N = 3/4 (D/d)^2 - 1/2 of lenses of pitch diameter d on a flat block D. Trade formula, from memory; not rounded.

    Raises: FigureOutOfRange for a block narrower than the lens.
    """
    if diameter_ratio < 1:
        raise FigureOutOfRange("block over lens D/d", diameter_ratio, "1 and above")
    return FILL * diameter_ratio**2 - 0.5


def lenses_on_flat_block(*, block_mm: float, pitch_mm: float) -> int:
    """Lenses on a flat block: from the best packings known up to twenty, by the formula above; 0 when not one fits.

    Notes: the formula alone is one too high just below a packing step (D/d = 2.99 gives 6, where 5 fit) and up to two
    too low at one (19 at 4.8637).
    """
    ratio = block_mm / pitch_mm
    if ratio < 1:
        return 0
    if ratio < BEST_FLAT[-1]:
        return max(n for n, needed in enumerate(BEST_FLAT) if ratio >= needed - 1e-6)
    return max(math.floor(flat_block_formula(diameter_ratio=ratio)), len(BEST_FLAT) - 1)


def spherical_block_formula(*, radius_ratio: float, half_angle_deg: float) -> float:
    """N = 6 (R/d)^2 (1 - cos g) - 1/2 of lenses of chord d on a sphere R, out to the half-angle g; not rounded.

    Notes: the same fill of 3/4 on the cap; as g goes to 0 with D = 2 R sin g it becomes the flat formula.

    Raises: FigureOutOfRange for a lens wider than the sphere, or an angle that is not above 0 and up to 180 deg.
    """
    _refuse_no_cap(radius_ratio, half_angle_deg)
    return 6 * radius_ratio**2 * (1 - math.cos(math.radians(half_angle_deg))) - 0.5


def _refuse_no_cap(radius_ratio: float, half_angle_deg: float) -> None:
    """Raises FigureOutOfRange for a lens wider than the sphere, or a cap that is none."""
    if radius_ratio < 0.5:
        raise FigureOutOfRange("radius over lens R/d", radius_ratio, "0.5 and above")
    if not 0 < half_angle_deg <= 180:
        raise FigureOutOfRange("half-angle of the block [deg]", half_angle_deg, "above 0 up to 180")


def _in_rings(rings: tuple[Ring, ...], ground: Ground) -> Points:
    """Centres of the lenses of rings on a sphere."""
    angles = [
        (ring.polar_rad, ring.phase_rad + 2 * math.pi * number / ring.lenses) for ring in rings for number in range(ring.lenses)
    ]
    points = [
        (math.sin(polar) * math.cos(longitude), math.sin(polar) * math.sin(longitude), math.cos(polar))
        for polar, longitude in angles
    ]
    return np.round(ground.radius * np.array(points).reshape(-1, 3).T, DECIMALS)


def _hexagonal(ground: Ground) -> Points:
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
