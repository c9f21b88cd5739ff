from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.process.domain.faces.block import block_for, clearance_diameter_mm
from services.shop.layout.lenses_on_block import flat_block_formula, layout_of, spherical_block_formula
from services.shop.layout.rings_on_sphere import Cap, lenses_of, spaced_rings
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import PolishingRow, Rates


def lenses_in_rings(*, radius_ratio: float, half_angle_deg: float) -> int:
    """Lenses in fixed rings on a sphere."""
    lens = math.asin(1 / (2 * radius_ratio))
    edge = min(math.radians(half_angle_deg), math.pi / 2 + lens) - lens
    return lenses_of(spaced_rings(Cap(lens, edge)))


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
    assert (block.lenses, block.words) == (1, rule)


def test_a_row_of_an_older_revision_may_still_say_from_which_figure_on_lenses_are_worked_singly(rates: Rates) -> None:
    asked: dict[str, Any] = {"radius_mm": 50.0, "convex": True, "diameter_mm": 20.0, "edge_mm": 2.0, "aspheric": False}
    row = crown(rates).model_copy(update={"single_below_fringes": 0.2})
    blocks = [block_for(**asked, irregularity_fringes=fringes, row=row) for fringes in (0.2, 0.1)]
    assert [block.lenses > 1 for block in blocks] == [True, False]
    assert blocks[1].words == "singly: figure finer than 0.2 fringe"


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
    assert (
        lenses(row, radius_mm=None)
        >= layout_of(radius_ratio=None, width_ratio=row.largest_block_mm / (20 + row.block_gap_mm)).count
    )
    few = layout_of(radius_ratio=None, width_ratio=row.largest_block_mm / (60 + row.block_gap_mm)).count
    assert lenses(row, radius_mm=None, diameter_mm=60.0) == few


@settings(deadline=None)
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


@given(st.floats(0.8, 20.0), st.floats(5.0, 90.0))
def test_rings_never_cover_more_than_the_densest_packing(ratio: float, angle: float) -> None:
    lens = math.asin(1 / (2 * ratio))
    cap = 1 - math.cos(min(math.radians(angle) + lens, math.pi))
    assert lenses_in_rings(radius_ratio=ratio, half_angle_deg=angle) * (1 - math.cos(lens)) <= cap + 1e-9


@given(st.floats(0.8, 20.0), st.floats(5.0, 80.0), st.floats(0.0, 10.0))
def test_a_block_that_reaches_further_round_its_sphere_never_has_room_for_none(ratio: float, angle: float, more: float) -> None:
    narrow = lenses_in_rings(radius_ratio=ratio, half_angle_deg=angle)
    wide = lenses_in_rings(radius_ratio=ratio, half_angle_deg=angle + more)
    assert (narrow >= 1) <= (wide >= 1)


def test_one_lens_fits_a_cap_of_its_own_width() -> None:
    own = math.degrees(math.asin(1 / 4))
    assert lenses_in_rings(radius_ratio=2.0, half_angle_deg=own * 0.99) == 0
    assert lenses_in_rings(radius_ratio=2.0, half_angle_deg=own) == 1


def test_around_one_lens_on_a_sphere_only_five_touching_ones_find_room() -> None:
    """sin a / sin 2a = 1 / (2 cos a) is more than a half: the flat pattern of one and six is lost."""
    for ratio in (1.5, 5.0, 50.0):
        reach = 3 * math.degrees(math.asin(1 / (2 * ratio)))
        assert lenses_in_rings(radius_ratio=ratio, half_angle_deg=reach + 1e-9) == 6


@pytest.mark.parametrize(("ratio", "angle"), [(0.49, 60.0), (2.0, 0.0), (2.0, 181.0)])
def test_past_the_sphere_no_block_is_worked_out(ratio: float, angle: float) -> None:
    with pytest.raises(FigureOutOfRange):
        spherical_block_formula(radius_ratio=ratio, half_angle_deg=angle)


def test_the_flat_formula_refuses_a_block_narrower_than_the_lens() -> None:
    with pytest.raises(FigureOutOfRange, match="D/d"):
        flat_block_formula(diameter_ratio=0.99)


@settings(deadline=None)
@given(st.floats(18.0, 400.0), st.booleans())
def test_a_spherical_block_is_never_counted_lower_than_its_rings(radius: float, convex: bool) -> None:
    row = PolishingRow.model_construct(
        block_gap_mm=1.5, largest_block_mm=240.0, convex_half_angle_deg=60.0, concave_half_angle_deg=50.0, single_below_ratio=0.8,
        single_below_fringes=0.2,
    )  # fmt: skip
    block = block_for(
        radius_mm=radius, convex=convex, diameter_mm=20.0, edge_mm=0.0, irregularity_fringes=1.0, aspheric=False, row=row
    )
    assert block.lenses >= max(lenses_in_rings(radius_ratio=radius / block.pitch_mm, half_angle_deg=block.half_angle_deg), 1)


def test_a_concave_block_needs_no_room_behind_its_lenses_but_stays_lower(rates: Rates) -> None:
    row = crown(rates)
    assert lenses(row, convex=False, edge_mm=10.0) == lenses(row, convex=False, edge_mm=1.0)
    even = row.model_copy(update={"concave_half_angle_deg": row.convex_half_angle_deg})
    assert lenses(row, convex=False) < lenses(even, convex=False)
