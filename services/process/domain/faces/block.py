"""Which block is a face worked on, and how many lenses share it?"""

from __future__ import annotations

import math
from dataclasses import dataclass

from services.shop.layout.lenses_on_block import (
    BlockLayout,
    flat_block_formula,
    layout_of,
    spherical_block_formula,
)
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import PolishingRow


@dataclass(frozen=True)
class Block:
    """A block.

    Attributes:
        lenses: how many share it.
        rule: the pattern they stand in, or why a lens is worked singly.
        pitch_mm: diameter of a lens with the gap and what its back corner needs [mm].
        half_angle_deg: of a spherical block, to the rim of the outermost lens [deg]; 0 for a flat one.
        radius_mm: of the surface, None for a flat block [mm].
        width_mm: of a flat block [mm].
    """

    lenses: int
    rule: str
    pitch_mm: float
    half_angle_deg: float = 0.0
    radius_mm: float | None = None
    width_mm: float = 0.0

    def layout(self) -> BlockLayout:
        """Where its lenses stand; of a block that several share."""
        if self.radius_mm is None:
            return layout_of(radius_ratio=None, width_ratio=self.width_mm / self.pitch_mm)
        return layout_of(radius_ratio=self.radius_mm / self.pitch_mm, half_angle_deg=self.half_angle_deg)

    def trade_formula(self) -> float:
        """What the published formula says for this block, not rounded."""
        if self.radius_mm is None:
            return flat_block_formula(diameter_ratio=self.width_mm / self.pitch_mm)
        return spherical_block_formula(radius_ratio=self.radius_mm / self.pitch_mm, half_angle_deg=self.half_angle_deg)


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
        return _flat_block(pitch, row)
    return _spherical_block(radius_mm, convex, pitch, edge_mm, row)


def _flat_block(pitch_mm: float, row: PolishingRow) -> Block:
    width = row.largest_block_mm
    layout = layout_of(radius_ratio=None, width_ratio=width / pitch_mm)
    if layout.count <= 1:
        return Block(1, "singly: wider than half the block", pitch_mm)
    return Block(layout.count, layout.pattern, pitch_mm, width_mm=width)


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
    layout = layout_of(radius_ratio=radius_mm / pitch_mm, half_angle_deg=angle)
    if layout.count <= 1:
        return Block(1, "singly: a second lens finds no room on the block", pitch_mm, angle)
    return Block(layout.count, layout.pattern, pitch_mm, angle, radius_mm)


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
