"""Why a block holds so many lenses: the figures behind it."""

from __future__ import annotations

from dataclasses import replace

from services.optics.law import decided, figure_of, given
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.faces.block import (
    Block,
    behind_rim_mm,
    bending_factor,
    blocked_in,
    blocked_softly,
    blocking_minutes,
    clearance_diameter_mm,
    half_angle_deg,
    most_on_block,
    pitch_mm,
    wider_mm,
)
from services.process.domain.route.rate_rows import polishing_for
from shared_schemas.figure import Figure
from shared_schemas.rates import PolishingRow, Rates


def bending_figure(work: ElementWork, row: PolishingRow) -> Figure:
    """How much longer it takes, as a figure."""
    return figure_of(
        bending_factor, unit="", rate_row=Rates.ref("polishing", row), thin_over=given("thin_over", row.thin_over or 0.0),
        diameter_to_thickness=given("diameter_to_thickness", work.diameter_to_thickness, at=f"/check{work.where}/diameter_to_thickness"),
        thin_slope=given("thin_slope", row.thin_slope), thin_power=given("thin_power", row.thin_power),
    )  # fmt: skip


def block_figure(work: ElementWork, face: FaceWork, block: Block, rates: Rates, *, worked_first: bool) -> Figure:
    """How many lenses share the block, and what decided it."""
    row = polishing_for(rates, work.glass, "block")
    ref = Rates.ref("polishing", row)
    sizes = _sizes(work, face, block, row, worked_first)
    if block.held is not None and block.softly and block.singly is None:
        places = decided("places", block.held, replace(block, softly=False).words, alternatives=sizes, rate_row=ref)
        softly = figure_of(blocked_softly, name="batch_size", unit="", places=places, bending_factor=bending_figure(work, row))
        if softly.value == block.lenses:
            return softly
        sizes = [softly]
    if block.lenses == block.most and block.held != block.lenses:
        sizes = [*sizes, _most_figure(work, row, rates, worked_first=worked_first)]
    return decided("batch_size", block.lenses, block.words, alternatives=sizes, rate_row=ref)


def _most_figure(work: ElementWork, row: PolishingRow, rates: Rates, *, worked_first: bool) -> Figure:
    blocking = blocking_minutes(work, rates, worked_first=worked_first)
    shown = "the minutes of blocking, as shown with them"
    in_time = figure_of(
        blocked_in, unit="", most_blocking_min=given("most_blocking_min", row.most_blocking_min, "min"),
        batch_min=given("batch_min", blocking.of_block, "min", source=shown),
        piece_min=given("piece_min", blocking.of_lens, "min", source=shown),
    )  # fmt: skip
    return figure_of(
        most_on_block, unit="", most_lenses=given("most_lenses", row.most_lenses or 0), blocked_in=in_time,
        recessed_lenses=given("recessed_lenses", row.recessed_lenses or row.most_lenses or 0),
        recessed_up_to_mm=given("recessed_up_to_mm", row.recessed_up_to_mm, "mm"),
        diameter_mm=given("diameter_mm", work.blank.diameter_mm, "mm", at=f"{work.where}/blank/diameter_mm"),
    )  # fmt: skip


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
        behind_rim_mm, name="edge_mm", blank_thickness_mm=given("blank_thickness_mm", work.blank.thickness_mm, "mm", source=f"the blank as a {work.blank.form}, in the blank plan"),
        sag_at_blank_mm=given("sag_at_blank_mm", face.sag_at_blank_mm, "mm", source="the sagitta of the face at the rim of the blank"),
    )  # fmt: skip
