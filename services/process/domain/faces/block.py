"""Which block is a face worked on, and how many lenses share it?"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from services.optics.law import law
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.route.rate_rows import polishing_for
from services.process.domain.route.work_centres import work_centre_for
from services.shop.layout.lenses_on_block import (
    BlockLayout,
    flat_block_formula,
    layout_of,
    spherical_block_formula,
)
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import PolishingRow, Rates

Singly = Literal[
    "asphere", "fine figure", "steep", "no room behind", "no room beside", "wide", "one softly", "on a spindle", "by volume"
]
"""Why a lens is worked singly."""


@dataclass(frozen=True)
class Block:
    """A block, as facts; `words` says them.

    Attributes:
        lenses: how many share it.
        pitch_mm: diameter of a lens with the gap and what its back corner needs [mm].
        pattern: of the layout; none for a lens worked singly.
        singly: why a lens is worked singly, and `limit` the figure that decides it.
        softly: whether the lenses bend and are blocked softly, fewer than the block has places.
        held: places on the block.
        most: lenses that are handled on one block; none where the rates do not limit them.
        half_angle_deg: of a spherical block, to the rim of the outermost lens [deg]; 0 for a flat one.
        radius_mm: of the surface, None for a flat block [mm].
        width_mm: of a flat block [mm].
    """

    lenses: int
    pitch_mm: float
    pattern: str | None = None
    singly: Singly | None = None
    limit: float | None = None
    softly: bool = False
    held: int | None = None
    most: int | None = None
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

    @property
    def words(self) -> str:
        """Its pattern, or why a lens is worked singly."""
        if self.singly is not None:
            return WORDS[self.singly].format(limit=self.limit, held=self.held)
        pattern = f"layout found by search: {self.pattern}"
        if self.softly:
            pattern = f"{pattern}; fewer, as the lenses are blocked softly"
        return f"{pattern}; no more are handled on one block" if self.lenses == self.most else pattern


WORDS: dict[Singly, str] = {
    "asphere": "singly: an asphere",
    "fine figure": "singly: figure finer than {limit:g} fringe",
    "steep": "singly: radius below {limit:g} of the diameter",
    "no room behind": "singly: no room behind the rim",
    "no room beside": "singly: a second lens finds no room on the block",
    "wide": "singly: wider than half the block",
    "one softly": "singly: one finds room, blocked softly",
    "on a spindle": "singly: on a spindle of its own, which is one way of working it",
    "by volume": "singly: in a collet of a machine for volume",
}
"""What is said of each reason; the only place where it is."""


@law
def pitch_mm(*, diameter_mm: float, block_gap_mm: float) -> float:
    """Diameter [mm] that a lens takes on its block.

    Equation: diameter_mm + block_gap_mm
    """
    return diameter_mm + block_gap_mm


@law
def wider_mm(*, pitch_mm: float, clearance_mm: float) -> float:
    """Pitch [mm] of lenses on a convex block: with their gap, or what their back corners need if that is more.

    Equation: max(pitch_mm, clearance_mm)
    """
    return max(pitch_mm, clearance_mm)


@law
def half_angle_deg(*, limit_deg: float, largest_block_mm: float, radius_mm: float) -> float:
    """Half-angle [deg] of a block: that of the row, or where the block is as wide as the largest.

    Equation: min(limit_deg, degrees(asin(min(largest_block_mm / 2 / radius_mm, 1))))
    """
    return min(limit_deg, math.degrees(math.asin(min(largest_block_mm / 2 / radius_mm, 1.0))))


@law
def bending_factor(*, diameter_to_thickness: float, thin_over: float, thin_slope: float, thin_power: float) -> float:
    """How much longer an element takes on its block and under the polisher because it bends; 1 for a stiff one.

    Equation: 1 + thin_slope * (max(diameter_to_thickness / thin_over, 1) ** thin_power - 1)
    Source: least squares to the cost table of J. Plummer and W. Lagger, Photonics Spectra, December 1982, from memory
    """
    return float(1 + thin_slope * (max(diameter_to_thickness / thin_over, 1.0) ** thin_power - 1))


@law
def blocked_softly(*, places: int, bending_factor: float) -> int:
    """Lenses on a block that must not be strained, out of the places on it, rounded; at least one.

    Equation: max(floor(places / bending_factor + 0.5), 1)
    """
    return max(math.floor(places / bending_factor + 0.5), 1)


@law
def blocked_in(*, most_blocking_min: float, batch_min: float, piece_min: float) -> float:
    """Lenses that are put on a block in the time that is taken for one at most.

    Equation: max(most_blocking_min - batch_min, 0) / piece_min
    """
    return max(most_blocking_min - batch_min, 0.0) / piece_min


@law
def most_on_block(
    *, most_lenses: float, blocked_in: float, recessed_lenses: float, recessed_up_to_mm: float, diameter_mm: float
) -> int:
    """Lenses that are handled on one block: as many as its time allows, and the smallest ones in recesses made for them.

    Equation: max(floor(min(most_lenses, blocked_in) + max(recessed_lenses - min(most_lenses, blocked_in), 0) * min(max((3 * recessed_up_to_mm - diameter_mm) / (2 * recessed_up_to_mm), 0), 1)), 1)
    Notes: recesses hold all lenses up to a diameter and none from three times that on.
    Source: common practice
    """
    usual = min(most_lenses, blocked_in)
    recessed = min(max((3 * recessed_up_to_mm - diameter_mm) / (2 * recessed_up_to_mm), 0.0), 1.0)
    return max(math.floor(usual + max(recessed_lenses - usual, 0.0) * recessed), 1)


@law
def clearance_diameter_mm(*, radius_mm: float, diameter_mm: float, edge_mm: float) -> float:
    """Diameter [mm] that a lens takes on a convex block, whose bodies converge behind the surface.

    Equation: 2 * radius_mm * sin(atan(diameter_mm / 2 / (radius_mm * cos(asin(diameter_mm / 2 / radius_mm)) - edge_mm)))
    Notes: the back corner stands at (d/2, R cos a - ET) from the centre, sin a = d/2R; d_eff = 2 R sin a_b with
    tan a_b = (d/2)/(R cos a - ET).
    Source: derived

    Raises: FigureOutOfRange when the lens is wider than the sphere, or its back corner lies behind the centre.
    """
    if diameter_mm / 2 > radius_mm:
        raise FigureOutOfRange("semi-diameter over radius", diameter_mm / 2 / radius_mm, "up to 1")
    depth = radius_mm * math.cos(math.asin(diameter_mm / 2 / radius_mm)) - edge_mm
    if depth <= 0:
        raise FigureOutOfRange("edge thickness", edge_mm, "less than the distance from the rim to the centre of curvature")
    return 2 * radius_mm * math.sin(math.atan(diameter_mm / 2 / depth))


@law
def behind_rim_mm(*, blank_thickness_mm: float, sag_at_blank_mm: float) -> float:
    """Glass [mm] behind the rim of a face when the other is as the blank has it.

    Equation: max(blank_thickness_mm - sag_at_blank_mm, 0)
    """
    return max(blank_thickness_mm - sag_at_blank_mm, 0.0)


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
    pitch = pitch_mm(diameter_mm=diameter_mm, block_gap_mm=row.block_gap_mm)
    if aspheric:
        return Block(1, pitch, singly="asphere")
    if irregularity_fringes < row.single_below_fringes:
        return Block(1, pitch, singly="fine figure", limit=row.single_below_fringes)
    if radius_mm is None:
        return _flat_block(pitch, row)
    if radius_mm / diameter_mm < row.single_below_ratio or pitch / 2 >= radius_mm:
        return Block(1, pitch, singly="steep", limit=row.single_below_ratio)
    return _spherical_block(radius_mm, convex, pitch, edge_mm, row)


def _flat_block(pitch: float, row: PolishingRow) -> Block:
    width = row.largest_block_mm
    layout = layout_of(radius_ratio=None, width_ratio=width / pitch)
    if layout.count <= 1:
        return Block(1, pitch, singly="wide")
    return Block(layout.count, pitch, layout.pattern, width_mm=width)


def _spherical_block(radius_mm: float, convex: bool, pitch: float, edge_mm: float, row: PolishingRow) -> Block:
    if convex:
        try:
            clearance = clearance_diameter_mm(radius_mm=radius_mm, diameter_mm=pitch, edge_mm=edge_mm)
        except FigureOutOfRange:
            return Block(1, pitch, singly="no room behind")
        pitch = wider_mm(pitch_mm=pitch, clearance_mm=clearance)
    limit = row.convex_half_angle_deg if convex else row.concave_half_angle_deg
    angle = half_angle_deg(limit_deg=limit, largest_block_mm=row.largest_block_mm, radius_mm=radius_mm)
    layout = layout_of(radius_ratio=radius_mm / pitch, half_angle_deg=angle)
    if layout.count <= 1:
        return Block(1, pitch, singly="no room beside", half_angle_deg=angle)
    return Block(layout.count, pitch, layout.pattern, half_angle_deg=angle, radius_mm=radius_mm)


def block_that_fits(work: ElementWork, face: FaceWork, rates: Rates, *, worked_first: bool) -> Block:
    """The block by the shape of a face; with fewer lenses where the element bends, and no more than are handled."""
    row = polishing_for(rates, work.glass, "block")
    block = block_for(
        radius_mm=face.radius_mm,
        convex=face.convex,
        diameter_mm=work.blank.diameter_mm,
        edge_mm=_behind_rim(work, face) if worked_first else work.rim_mm,
        irregularity_fringes=face.irregularity_fringes,
        aspheric=face.aspheric,
        row=row,
    )
    if block.lenses == 1:
        return block
    softly = blocked_softly(places=block.lenses, bending_factor=bending_of(work, row))
    most = _handled(work, row, rates, worked_first=worked_first)
    lenses = softly if most is None else min(softly, most)
    bends = bends_on_block(work, row)
    return replace(
        block, lenses=lenses, softly=bends, held=block.lenses, most=most, singly="one softly" if lenses == 1 and bends else None
    )


def bending_of(work: ElementWork, row: PolishingRow) -> float:
    """How much longer an element takes because it bends; 1 where the row has no limit."""
    if row.thin_over is None:
        return 1.0
    return bending_factor(
        diameter_to_thickness=work.diameter_to_thickness,
        thin_over=row.thin_over,
        thin_slope=row.thin_slope,
        thin_power=row.thin_power,
    )


def bends_on_block(work: ElementWork, row: PolishingRow) -> bool:
    """Whether an element bends."""
    return bending_of(work, row) > 1


@dataclass(frozen=True)
class BlockingMinutes:
    """What putting lenses on a block takes: minutes for the block and for each lens."""

    of_block: float
    of_lens: float


def blocking_minutes(work: ElementWork, rates: Rates, *, worked_first: bool) -> BlockingMinutes:
    """Minutes of blocking, by the row of the bench and what is done besides."""
    centre = work_centre_for(rates, "block", "block")
    extra = work.extra_work.on_face("block", "block", worked_first=worked_first)
    return BlockingMinutes(centre.cycle_min + sum(extra.minutes("batch")), centre.load_min_per_piece + sum(extra.minutes("piece")))


def _handled(work: ElementWork, row: PolishingRow, rates: Rates, *, worked_first: bool) -> int | None:
    """Lenses that are handled on one block, None where the row does not limit them."""
    if row.most_lenses is None:
        return None
    blocking = blocking_minutes(work, rates, worked_first=worked_first)
    return most_on_block(
        most_lenses=row.most_lenses, recessed_lenses=row.recessed_lenses or row.most_lenses,
        blocked_in=blocked_in(most_blocking_min=row.most_blocking_min, batch_min=blocking.of_block, piece_min=max(blocking.of_lens, 1e-6)),
        recessed_up_to_mm=row.recessed_up_to_mm, diameter_mm=work.blank.diameter_mm,
    )  # fmt: skip


def _behind_rim(work: ElementWork, face: FaceWork) -> float:
    """Glass behind the rim of a face whose other side is as the blank has it; a pressing is near its lens [mm]."""
    if work.blank.form == "pressing":
        return work.rim_mm
    return behind_rim_mm(blank_thickness_mm=work.blank.thickness_mm, sag_at_blank_mm=face.sag_at_blank_mm)
