"""Which block is a face worked on, and how many lenses share it?"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from services.optics.law import decided, figure_of, given, law
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.route.rate_rows import polishing_for
from services.shop.layout.lenses_on_block import (
    BlockLayout,
    flat_block_formula,
    layout_of,
    spherical_block_formula,
)
from shared_schemas.figure import Figure
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import PolishingRow, Rates

Singly = Literal["asphere", "fine figure", "steep", "no room behind", "no room beside", "wide", "limp", "one softly", "dearer"]
"""Why a lens is worked singly."""


@dataclass(frozen=True)
class Block:
    """A block, as facts; `words` says them.

    Attributes:
        lenses: how many share it.
        pitch_mm: diameter of a lens with the gap and what its back corner needs [mm].
        pattern: of the layout; none for a lens worked singly.
        singly: why a lens is worked singly, and `limit` the figure that decides it.
        softly: whether the lenses bend and are blocked softly, a share of those that `held` says the block would hold.
        costs: of one lens worked singly and of one on the block that would hold several, where that decided [base currency].
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
    costs: tuple[float, float] | None = None
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
        return f"{pattern}; a share of it as the lenses are blocked softly" if self.softly else pattern


WORDS: dict[Singly, str] = {
    "asphere": "singly: an asphere",
    "fine figure": "singly: figure finer than {limit:g} fringe",
    "steep": "singly: radius below {limit:g} of the diameter",
    "no room behind": "singly: no room behind the rim",
    "no room beside": "singly: a second lens finds no room on the block",
    "wide": "singly: wider than half the block",
    "limp": "singly: {limit:.3g} times as wide as thick, it bends",
    "one softly": "singly: one finds room, blocked softly",
    "dearer": "singly: {held} on a block would cost more",
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
def blocked_softly(*, places: int, thin_lenses_share: float) -> int:
    """Lenses on a block that must not be strained, out of the places on it; at least one.

    Equation: max(floor(places * thin_lenses_share), 1)
    """
    return max(math.floor(places * thin_lenses_share), 1)


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
    """The block by the shape of a face; softly where the element bends, singly where it bends too much."""
    row = polishing_for(rates, work.glass, "block")
    thin = thinness(work, row)
    block = block_for(
        radius_mm=face.radius_mm,
        convex=face.convex,
        diameter_mm=work.blank.diameter_mm,
        edge_mm=_behind_rim(work, face) if worked_first else work.rim_mm,
        irregularity_fringes=face.irregularity_fringes,
        aspheric=face.aspheric,
        row=row,
    )
    if block.lenses == 1 or thin == "stiff":
        return block
    if thin == "limp":
        return replace(block, lenses=1, singly="limp", limit=work.diameter_to_thickness)
    lenses = blocked_softly(places=block.lenses, thin_lenses_share=row.thin_lenses_share)
    return replace(block, lenses=lenses, softly=True, held=block.lenses, singly="one softly" if lenses == 1 else None)


def thinness(work: ElementWork, row: PolishingRow) -> Literal["stiff", "thin", "limp"]:
    """Whether an element bends under its polisher: by its diameter over its centre thickness and the limits of the row."""
    ratio = work.diameter_to_thickness
    if row.single_thin_over is not None and ratio > row.single_thin_over:
        return "limp"
    return "thin" if row.thin_over is not None and ratio > row.thin_over else "stiff"


def _behind_rim(work: ElementWork, face: FaceWork) -> float:
    """Glass behind the rim of a face whose other side is as the blank has it; a pressing is near its lens [mm]."""
    if work.blank.form == "pressing":
        return work.rim_mm
    return behind_rim_mm(blank_thickness_mm=work.blank.thickness_mm, sag_at_blank_mm=face.sag_at_blank_mm)


def block_figure(work: ElementWork, face: FaceWork, block: Block, rates: Rates, *, worked_first: bool) -> Figure:
    """How many lenses share the block, and what decided it."""
    row = polishing_for(rates, work.glass, "block")
    ref = Rates.ref("polishing", row)
    if block.softly and block.singly is None:
        places = decided(
            "places",
            block.held or 1,
            replace(block, softly=False).words,
            alternatives=_sizes(work, face, block, row, worked_first),
            rate_row=ref,
        )
        share = given("thin_lenses_share", row.thin_lenses_share)
        return figure_of(blocked_softly, name="batch_size", unit="", rate_row=ref, places=places, thin_lenses_share=share)
    sizes = _sizes(work, face, block, row, worked_first)
    return decided("batch_size", block.lenses, block.words, alternatives=[*sizes, *_costs(block, rates)], rate_row=ref)


def _costs(block: Block, rates: Rates) -> list[Figure]:
    names = ("cost of a lens worked singly", f"cost of a lens, {block.held} on a block")
    return [
        decided(name, cost, "minutes of a full batch at the rates of their work centres, with what is spent on them", unit=rates.base_currency)
        for name, cost in zip(names, block.costs or (), strict=False)
    ]  # fmt: skip


def _sizes(work: ElementWork, face: FaceWork, block: Block, row: PolishingRow, worked_first: bool) -> list[Figure]:
    """The sizes that decide how many lenses a block holds, and what the trade's formula says of it."""
    sizes = [_pitch(work, face, block, row, worked_first=worked_first)]
    if face.radius_mm is None:
        sizes.append(given("largest_block_mm", row.largest_block_mm, "mm"))
    else:
        sizes.append(given("radius_mm", face.signed_radius_mm, "mm", at=f"/prescription{face.where}/radius_mm"))
    if block.half_angle_deg and face.radius_mm is not None:
        limit = row.convex_half_angle_deg if face.convex else row.concave_half_angle_deg
        largest = given("largest_block_mm", row.largest_block_mm, "mm")
        angle = figure_of(
            half_angle_deg,
            rate_row=Rates.ref("polishing", row),
            limit_deg=given("limit_deg", limit, "deg"),
            largest_block_mm=largest,
            radius_mm=_size_of_radius(face),
        )
        sizes.append(angle)
    if block.lenses > 1:
        words = "N = 3/4 (D/d)^2 - 1/2" if block.radius_mm is None else "N = 6 (R/d)^2 (1 - cos g) - 1/2"
        sizes.append(given("trade formula", block.trade_formula(), source=f"{words}; trade formula, from memory"))
    return sizes


def _pitch(work: ElementWork, face: FaceWork, block: Block, row: PolishingRow, *, worked_first: bool) -> Figure:
    blank = given("diameter_mm", work.blank.diameter_mm, "mm", at=f"{work.where}/blank/diameter_mm")
    gap = given("block_gap_mm", row.block_gap_mm, "mm")
    spaced = figure_of(pitch_mm, rate_row=Rates.ref("polishing", row), diameter_mm=blank, block_gap_mm=gap)
    if face.radius_mm is None or block.pitch_mm == spaced.value:
        return spaced
    clearance = figure_of(
        clearance_diameter_mm, name="clearance_mm", radius_mm=_size_of_radius(face), diameter_mm=spaced,
        edge_mm=_edge(work, face, worked_first=worked_first),
    )  # fmt: skip
    return figure_of(wider_mm, name="pitch_mm", pitch_mm=spaced, clearance_mm=clearance)


def _size_of_radius(face: FaceWork) -> Figure:
    return given("radius_mm", face.radius_mm or 0.0, "mm", source="the drawing, without its sign")


def _edge(work: ElementWork, face: FaceWork, *, worked_first: bool) -> Figure:
    if not worked_first or work.blank.form == "pressing":
        return given("edge_mm", work.rim_mm, "mm", at=f"/check{work.where}/edge_thickness_at_work_diameter_mm")
    return figure_of(
        behind_rim_mm, name="edge_mm", blank_thickness_mm=given("blank_thickness_mm", work.blank.thickness_mm, "mm", at=f"{work.where}/blank/thickness_mm"),
        sag_at_blank_mm=given("sag_at_blank_mm", face.sag_at_blank_mm, "mm", source="the sagitta of the face at the rim of the blank"),
    )  # fmt: skip
