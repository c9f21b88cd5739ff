"""How many lenses fit a block, by the formulas of the trade?"""

from __future__ import annotations

import math
from functools import lru_cache

from services.process.domain.block_rings import Cap, lenses_of, spaced_rings
from shared_schemas.problem import FigureOutOfRange

FILL = 0.75
"""Share of a block's area that lenses cover; with the edge term of 1/2 the two formulas follow the best packings known."""

BEST_FLAT = (
    0.0, 1.0, 2.0, 2.154701, 2.414214, 2.701302, 3.0, 3.0, 3.304765, 3.613126, 3.813026, 3.923804, 4.029602, 4.236068, 4.328429, 4.521357,
    4.615426, 4.792034, 4.863703, 4.863703, 5.122321,
)  # fmt: skip
"""Smallest D/d that holds N equal circles, N = 0 to 20 (best-known packings of circles in a circle; E. Specht's tables)."""


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
    refuse_no_cap(radius_ratio, half_angle_deg)
    return 6 * radius_ratio**2 * (1 - math.cos(math.radians(half_angle_deg))) - 0.5


@lru_cache(maxsize=1024)
def lenses_in_rings(*, radius_ratio: float, half_angle_deg: float) -> int:
    """Lenses of chord d that stand in rings on a sphere R out to the half-angle g: a layout that can be drawn, not an estimate.

    Notes:
        1 to 5 lenses at the pole; further rings at least 2 a apart, spread out to g - a, with sin a = d/2R. A ring at the
        polar angle t holds n = floor(pi / asin(sin a / sin t)); none stands past the equator. Around one lens only 5 touching ones find room, never 6.

    Source: derived.

    Raises: FigureOutOfRange for a lens wider than the sphere, or an angle that is not above 0 and up to 180 deg.
    """
    refuse_no_cap(radius_ratio, half_angle_deg)
    lens = math.asin(1 / (2 * radius_ratio))
    edge = min(math.radians(half_angle_deg), math.pi / 2 + lens) - lens
    return lenses_of(spaced_rings(Cap(lens, edge)))


def refuse_no_cap(radius_ratio: float, half_angle_deg: float) -> None:
    """Raises FigureOutOfRange for a lens wider than the sphere, or a cap that is none."""
    if radius_ratio < 0.5:
        raise FigureOutOfRange("radius over lens R/d", radius_ratio, "0.5 and above")
    if not 0 < half_angle_deg <= 180:
        raise FigureOutOfRange("half-angle of the block [deg]", half_angle_deg, "above 0 up to 180")


def clearance_diameter_mm(*, radius_mm: float, diameter_mm: float, edge_mm: float) -> float:
    """Diameter that a lens takes on a convex block, whose bodies converge behind the surface [mm].

    Notes: the back corner stands at (d/2, R cos a - ET) from the centre, sin a = d/2R; d_eff = 2 R sin a_b with
    tan a_b = (d/2)/(R cos a - ET). Derived.

    Raises: FigureOutOfRange when the lens is wider than the sphere, or its back corner lies behind the centre.
    """
    if diameter_mm / 2 > radius_mm:
        raise FigureOutOfRange("semi-diameter over radius", diameter_mm / 2 / radius_mm, "up to 1")
    depth = radius_mm * math.cos(math.asin(diameter_mm / 2 / radius_mm)) - edge_mm
    if depth <= 0:
        raise FigureOutOfRange("edge thickness", edge_mm, "less than the distance from the rim to the centre of curvature")
    return 2 * radius_mm * math.sin(math.atan(diameter_mm / 2 / depth))
