from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.process.domain.blocks import (
    BEST_FLAT,
    block_for,
    clearance_diameter_mm,
    flat_block_formula,
    lenses_on_flat_block,
    spherical_block_formula,
)
from services.process.errors import FigureOutOfRange
from shared_schemas.rates import PolishingRow, Rates


def crown(rates: Rates) -> PolishingRow:
    return next(row for row in rates.polishing if row.name == "crown, block")


def lenses(row: PolishingRow, **changes: object) -> int:
    asked = {
        "radius_mm": 50.0, "convex": True, "diameter_mm": 20.0, "edge_mm": 2.0, "irregularity_fringes": 1.0, "aspheric": False,
    } | changes  # fmt: skip
    return block_for(**asked, row=row).lenses  # type: ignore[arg-type]


def test_the_spherical_formula_becomes_the_flat_one_on_a_large_sphere() -> None:
    radius, block, pitch = 1e5, 200.0, 27.0
    angle = math.degrees(math.asin(block / 2 / radius))
    spherical = spherical_block_formula(radius_ratio=radius / pitch, half_angle_deg=angle)
    assert spherical == pytest.approx(flat_block_formula(diameter_ratio=block / pitch), rel=1e-6)


@given(st.floats(0.2, 30), st.floats(0.0, 10))
def test_a_larger_block_never_holds_fewer(ratio: float, more: float) -> None:
    assert lenses_on_flat_block(block_mm=10 * (ratio + more), pitch_mm=10) >= lenses_on_flat_block(block_mm=10 * ratio, pitch_mm=10)


@given(st.floats(1.0, 40.0))
def test_lenses_on_a_flat_block_never_cover_more_than_the_densest_packing(ratio: float) -> None:
    assert lenses_on_flat_block(block_mm=ratio, pitch_mm=1) <= math.pi / math.sqrt(12) * (ratio + 1) ** 2


def test_no_lens_fits_a_block_narrower_than_itself() -> None:
    assert lenses_on_flat_block(block_mm=20, pitch_mm=20.1) == 0


def test_the_packing_table_rises() -> None:
    assert list(BEST_FLAT) == sorted(BEST_FLAT)
    assert len(BEST_FLAT) == 21


def test_a_lens_wider_than_its_sphere_has_no_clearance_diameter() -> None:
    with pytest.raises(FigureOutOfRange, match="up to 1"):
        clearance_diameter_mm(radius_mm=10, diameter_mm=21, edge_mm=2)


def test_a_rim_that_reaches_the_centre_of_curvature_leaves_no_room() -> None:
    with pytest.raises(FigureOutOfRange, match="centre of curvature"):
        clearance_diameter_mm(radius_mm=10, diameter_mm=18, edge_mm=5)


def test_a_thin_edge_asks_for_no_more_than_the_lens() -> None:
    assert clearance_diameter_mm(radius_mm=50, diameter_mm=26, edge_mm=0) == pytest.approx(26.0)


@pytest.mark.parametrize(
    ("changes", "rule"),
    [
        ({"aspheric": True}, "singly: an asphere"),
        ({"irregularity_fringes": 0.1}, "singly: figure finer than 0.2 fringe"),
        ({"radius_mm": 15.0}, "singly: radius below 0.8 of the diameter"),
        ({"radius_mm": 17.0, "edge_mm": 14.0}, "singly: no room behind the rim"),
        ({"radius_mm": None, "diameter_mm": 200.0}, "singly: wider than half the block"),
        ({"radius_mm": 18.0}, "singly: a second lens finds no room on the block"),
    ],
)
def test_some_lenses_are_worked_singly_and_the_rule_says_why(changes: dict[str, object], rule: str, rates: Rates) -> None:
    asked = {
        "radius_mm": 50.0, "convex": True, "diameter_mm": 20.0, "edge_mm": 2.0, "irregularity_fringes": 1.0, "aspheric": False,
    } | changes  # fmt: skip
    block = block_for(**asked, row=crown(rates))  # type: ignore[arg-type]
    assert (block.lenses, block.rule) == (1, rule)


def test_a_steeper_radius_shares_its_block_with_fewer(rates: Rates) -> None:
    counts = [lenses(crown(rates), radius_mm=radius) for radius in (200.0, 100.0, 50.0, 30.0)]
    assert counts == sorted(counts, reverse=True)
    assert counts[0] > counts[-1]


def test_the_gap_and_the_back_corner_take_room(rates: Rates) -> None:
    row = crown(rates)
    assert lenses(row, edge_mm=8.0) < lenses(row, edge_mm=1.0)
    wide = row.model_copy(update={"block_gap_mm": 8.0})
    assert lenses(wide) < lenses(row)


def test_a_plane_face_fills_the_flat_block(rates: Rates) -> None:
    row = crown(rates)
    assert lenses(row, radius_mm=None) == lenses_on_flat_block(block_mm=row.largest_block_mm, pitch_mm=20 + row.block_gap_mm)


@given(
    radius=st.one_of(st.none(), st.floats(1.0, 1e6)),
    convex=st.booleans(),
    diameter=st.floats(1.0, 400.0),
    edge=st.floats(0.0, 60.0),
)
def test_a_block_always_holds_at_least_one(radius: float | None, convex: bool, diameter: float, edge: float) -> None:
    row = PolishingRow.model_construct(
        block_gap_mm=1.5, largest_block_mm=240.0, convex_half_angle_deg=60.0, concave_half_angle_deg=50.0, single_below_ratio=0.8,
        single_below_fringes=0.2,
    )  # fmt: skip
    block = block_for(
        radius_mm=radius, convex=convex, diameter_mm=diameter, edge_mm=edge, irregularity_fringes=1.0, aspheric=False, row=row
    )
    assert block.lenses >= 1
