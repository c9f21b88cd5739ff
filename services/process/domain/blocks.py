"""How many lenses fit a block?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from services.process.errors import FigureOutOfRange
from shared_schemas.rates import PolishingRow

FILL = 0.75
"""Share of a block's area that lenses cover; with the edge term of 1/2 the two formulas follow the best packings known."""

ANGLE_SLACK = 1e-9
"""Rounding of floating point that a lens more or less must not hang on."""

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
    _refuse_no_cap(radius_ratio, half_angle_deg)
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
    _refuse_no_cap(radius_ratio, half_angle_deg)
    lens = math.asin(1 / (2 * radius_ratio))
    edge = min(math.radians(half_angle_deg), math.pi / 2 + lens) - lens
    return max(_rings(lens, edge, at_pole) for at_pole in range(1, 6))


def _rings(lens: float, edge: float, at_pole: int) -> int:
    """Lenses of angular radius `lens` whose centres lie up to `edge` from the pole, `at_pole` of them around it [rad]."""
    sine = math.sin(lens) / math.sin(math.pi / at_pole) if at_pole > 1 else 0.0
    if sine > 1 or math.asin(sine) > edge + ANGLE_SLACK:
        return 0
    first = math.asin(sine)
    further = math.floor((edge - first) / (2 * lens) + ANGLE_SLACK)
    step = (edge - first) / further if further else 0.0
    return at_pole + sum(
        math.floor(math.pi / math.asin(min(math.sin(lens) / math.sin(first + ring * step), 1.0)) + ANGLE_SLACK)
        for ring in range(1, further + 1)
    )


def _refuse_no_cap(radius_ratio: float, half_angle_deg: float) -> None:
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


@dataclass(frozen=True)
class Block:
    """A block: how many lenses it holds, by which rule, at what pitch [mm] and half-angle [deg] (0 for a flat one)."""

    lenses: int
    rule: str
    pitch_mm: float
    half_angle_deg: float = 0.0


def block_for(
    *,
    radius_mm: float | None,
    convex: bool,
    diameter_mm: float,
    edge_mm: float,
    irregularity_fringes: float,
    aspheric: bool,
    row: PolishingRow,
) -> Block:
    """The block a face is ground and polished on.

    Args:
        radius_mm: size of the radius, None for plano [mm].
        convex: whether the face is convex.
        diameter_mm: diameter of the blank [mm].
        edge_mm: thickness of the rim behind the face, as it is when the face is worked [mm].
        irregularity_fringes: what the face is allowed [fringe spacings].
        aspheric: whether the face is no sphere.
        row: the polishing row, with gap, limits and angles.
    """
    pitch = diameter_mm + row.block_gap_mm
    reason = _why_singly(radius_mm, diameter_mm, pitch, irregularity_fringes, aspheric, row)
    if reason is not None:
        return Block(1, f"singly: {reason}", pitch)
    if radius_mm is None:
        count = lenses_on_flat_block(block_mm=row.largest_block_mm, pitch_mm=pitch)
        return Block(count, "flat block", pitch) if count > 1 else Block(1, "singly: wider than half the block", pitch)
    return _spherical_block(radius_mm, convex, pitch, edge_mm, row)


def _why_singly(
    radius_mm: float | None, diameter_mm: float, pitch_mm: float, irregularity_fringes: float, aspheric: bool, row: PolishingRow
) -> str | None:
    if aspheric:
        return "an asphere"
    if irregularity_fringes < row.single_below_fringes:
        return f"figure finer than {row.single_below_fringes:g} fringe"
    if radius_mm is not None and (radius_mm / diameter_mm < row.single_below_ratio or pitch_mm / 2 >= radius_mm):
        return f"radius below {row.single_below_ratio:g} of the diameter"
    return None


def _spherical_block(radius_mm: float, convex: bool, pitch_mm: float, edge_mm: float, row: PolishingRow) -> Block:
    if convex:
        try:
            pitch_mm = max(pitch_mm, clearance_diameter_mm(radius_mm=radius_mm, diameter_mm=pitch_mm, edge_mm=edge_mm))
        except FigureOutOfRange:
            return Block(1, "singly: no room behind the rim", pitch_mm)
    angle = min(
        row.convex_half_angle_deg if convex else row.concave_half_angle_deg,
        math.degrees(math.asin(min(row.largest_block_mm / 2 / radius_mm, 1.0))),
    )
    ratio = radius_mm / pitch_mm
    count = math.floor(spherical_block_formula(radius_ratio=ratio, half_angle_deg=angle))
    in_rings = lenses_in_rings(radius_ratio=ratio, half_angle_deg=angle)
    if max(count, in_rings) <= 1:
        return Block(1, "singly: a second lens finds no room on the block", pitch_mm, angle)
    return Block(count, "spherical block", pitch_mm, angle) if count >= in_rings else Block(in_rings, "rings", pitch_mm, angle)
