"""Where does each lens sit on a block?

A block is measured in pitches: `radius_ratio` is the radius of the surface over the diameter of a lens with its gap, as a chord.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from services.shop.layout.circles_in_circle import circles_in_circle, forget_circles
from services.shop.layout.pushing import TOUCHING, Ground, Points, least_distance, pushed_apart, scattered, with_one_more
from services.shop.layout.rings_on_sphere import SLACK, Cap, Ring, lenses_of, nested_rings, spaced_rings
from shared_schemas.problem import FigureOutOfRange

SEARCHED_UP_TO = 250
"""Lenses up to which another is sought by pushing; on larger blocks the patterns hold more than the formula says."""

MOVES = 150
"""Moves that one try to find room for another lens may take."""

FORMULA_HOLDS_FROM, TRIES = 11, 3
"""Lenses from which on the published formula promises no more than finds room; and how often one that it promises is sought there.
Below, one try settles that it promised too much."""

DIGITS = 10
"""Figures of a ratio and of an angle that a layout is remembered by."""

PLACES = 12
"""Decimals of a pitch that the edge of a block is rounded to: cosines differ in the last digit between machines."""

NEARLY_FLAT = 100.0
"""Radius over pitch from which on a block is laid out in the plane and raised to the sphere: angles get too small to reckon with."""

FILL = 0.75
"""Share of a block's area that lenses cover; with the edge term of 1/2 the two formulas follow the best packings known."""

DECIMALS = 12
"""Positions are rounded to so many decimals of a pitch: sines differ in the last digit between machines."""

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
        tries: of a spherical block, how often another lens is sought: with one, up to what the published formula says; with more,
            so often for each further lens until none finds room.

    Notes: on a flat block the circles in a circle. On a spherical one these raised to the sphere, fixed rings and nested rings;
        from the fullest of them, lenses are pushed about until another finds room. Bounded by moves, not by time, and the same on
        every machine.

    Raises: FigureOutOfRange for a lens wider than the sphere, or an angle that is not above 0 and up to 180 deg.
    """
    if radius_ratio is None:
        return _flat_layout(float(f"{width_ratio:.{DIGITS}g}"))
    _refuse_no_cap(radius_ratio, half_angle_deg)
    return _spherical_layout(float(f"{radius_ratio:.{DIGITS}g}"), float(f"{half_angle_deg:.{DIGITS}g}"), tries)


def forget_layouts() -> None:
    """Forget every layout, as a process that has just started; for measuring."""
    for remembered in (_flat_layout, _spherical_layout, nested_rings):
        remembered.cache_clear()
    forget_circles()


@lru_cache(maxsize=1024)
def _flat_layout(width_ratio: float) -> BlockLayout:
    circles = circles_in_circle(ratio=width_ratio)
    return _as_layout(None, 0.0, width_ratio, circles.pattern, np.vstack((circles.centres.T, np.zeros(circles.count))))


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
        return [("none", np.empty((3, 0)))]
    found = [_raised(ground)]
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


def _raised(ground: Ground) -> tuple[str, Points]:
    """Circles in a circle, each lens above its place in the plane: no two come nearer, since heights only add to a distance."""
    circles = circles_in_circle(ratio=2 * ground.width + 1)
    x, y = circles.centres.T
    return circles.pattern, np.stack((x, y, np.sqrt(np.maximum(ground.radius**2 - x * x - y * y, ground.height**2))))
