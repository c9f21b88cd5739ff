"""Layouts of lenses on blocks, held against a checker that knows nothing of how they are found."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.process.domain.faces.block import Block, block_for, clearance_diameter_mm
from services.process.domain.plan import plan_operations
from services.shop.layout.block_drawing import BlockDrawn, block_svg
from services.shop.layout.lenses_on_block import BlockLayout, forget_layouts, layout_of, spherical_block_formula
from services.shop.layout.pushing import Ground, least_distance, pushed_apart, scattered, spread, with_one_more
from services.shop.layout.rings_on_sphere import Cap, lenses_of, nested_rings, spaced_rings
from shared_schemas.operations import BlockPicture, OperationPlan
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import PolishingRow, Rates

Place = tuple[float, float, float]

TAKEN_FROM_THE_GAP = 1e-5
"""Share of the pitch that a layout may take out of the gap between two lenses."""

blocks_drawn = st.tuples(st.floats(0.7, 9.0), st.floats(6.0, 90.0)).filter(
    lambda block: spherical_block_formula(radius_ratio=block[0], half_angle_deg=block[1]) < 120
)


def lenses_in_rings(*, radius_ratio: float, half_angle_deg: float) -> int:
    """Lenses in fixed rings on a sphere."""
    lens = math.asin(1 / (2 * radius_ratio))
    edge = min(math.radians(half_angle_deg), math.pi / 2 + lens) - lens
    return lenses_of(spaced_rings(Cap(lens, edge)))


def apart(one: Place, other: Place) -> float:
    """Angle between two directions, by the cross and the dot product [rad]."""
    cross = (
        one[1] * other[2] - one[2] * other[1],
        one[2] * other[0] - one[0] * other[2],
        one[0] * other[1] - one[1] * other[0],
    )
    return math.atan2(math.hypot(*cross), sum(a * b for a, b in zip(one, other, strict=True)))


def faults_of(layout: BlockLayout) -> list[str]:
    """What is wrong with a layout: a lens off its surface, over the edge, or touching another. Every pair is looked at."""
    places: list[Place] = [tuple(place) for place in layout.centres.tolist()]
    found = []
    ratio = layout.radius_ratio
    if ratio is None:
        reach = (layout.width_ratio - 1) / 2
        found += [f"{place} over the edge" for place in places if place[2] != 0 or math.hypot(place[0], place[1]) > reach + 1e-6]
        nearest = [(math.dist(one, other), one, other) for one, other in itertools.combinations(places, 2)]
        found += [f"{one} touches {other}" for gap, one, other in nearest if gap < 1 - TAKEN_FROM_THE_GAP]
        return found
    lens = math.asin(0.5 / ratio)
    reach = math.radians(layout.half_angle_deg) - lens
    found += [f"{place} off the surface" for place in places if abs(math.hypot(*place) / ratio - 1) > 1e-9]
    found += [f"{place} over the edge" for place in places if apart(place, (0, 0, 1)) > reach + 1e-6]
    for one, other in itertools.combinations(places, 2):
        if 2 * ratio * math.sin(apart(one, other) / 2) < 1 - TAKEN_FROM_THE_GAP:
            found.append(f"{one} touches {other}")
    return found


def rims(direction: Place, radius_mm: float, half_mm: float, edge_mm: float) -> np.ndarray[Any, Any]:
    """Points round the front and the back rim of a lens whose edge is a cylinder behind its convex face, shape (n, 3) [mm]."""
    axis = np.array(direction)
    side = np.cross(axis, (1.0, 0.0, 0.0) if abs(axis[0]) < 0.8 else (0.0, 1.0, 0.0))
    side /= np.linalg.norm(side)
    third = np.cross(axis, side)
    front = math.sqrt(radius_mm**2 - half_mm**2)
    turn = np.linspace(0, 2 * math.pi, 48, endpoint=False)[:, None]
    round_it = half_mm * (np.cos(turn) * side + np.sin(turn) * third)
    return np.concatenate((front * axis + round_it, (front - edge_mm) * axis + round_it))


def any_inside(points: np.ndarray[Any, Any], direction: Place, radius_mm: float, half_mm: float, edge_mm: float) -> bool:
    """Whether a point lies within the edge cylinder of a lens."""
    along = points @ np.array(direction)
    front = math.sqrt(radius_mm**2 - half_mm**2)
    across = np.linalg.norm(points - along[:, None] * np.array(direction), axis=1)
    return bool(((along >= front - edge_mm - 1e-9) & (along <= front + 1e-9) & (across < half_mm - 1e-9)).any())


def any_row(**changes: float) -> PolishingRow:
    figures: dict[str, Any] = {
        "block_gap_mm": 1.5, "largest_block_mm": 240.0, "convex_half_angle_deg": 60.0, "concave_half_angle_deg": 50.0,
        "single_below_ratio": 0.8, "single_below_fringes": 0.2,
    } | changes  # fmt: skip
    return PolishingRow.model_construct(**figures)


def block_of(radius: float | None, *, convex: bool = True, diameter: float = 25.0, edge: float = 4.0, **changes: float) -> Block:
    return block_for(
        radius_mm=radius, convex=convex, diameter_mm=diameter, edge_mm=edge, irregularity_fringes=1.0, aspheric=False,
        row=any_row(**changes),
    )  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(blocks_drawn)
def test_no_two_lenses_touch_and_none_stands_over_the_edge(block: tuple[float, float]) -> None:
    layout = layout_of(radius_ratio=block[0], half_angle_deg=block[1])
    assert faults_of(layout) == []
    assert layout.covered <= 1


@settings(max_examples=25, deadline=None)
@given(st.floats(1.0, 12.0))
def test_on_a_flat_block_no_two_lenses_touch_and_none_stands_over_the_edge(ratio: float) -> None:
    layout = layout_of(radius_ratio=None, width_ratio=ratio)
    assert faults_of(layout) == []


@settings(max_examples=60, deadline=None)
@given(blocks_drawn)
def test_a_layout_never_holds_fewer_than_fixed_rings(block: tuple[float, float]) -> None:
    ratio, angle = block
    assert layout_of(radius_ratio=ratio, half_angle_deg=angle).count >= lenses_in_rings(radius_ratio=ratio, half_angle_deg=angle)


@settings(max_examples=15, deadline=None)
@given(st.floats(1.0, 4.0), st.floats(20.0, 75.0))
def test_a_longer_search_never_finds_fewer_and_its_lenses_do_not_touch(ratio: float, angle: float) -> None:
    longer = layout_of(radius_ratio=ratio, half_angle_deg=angle, tries=2)
    assert faults_of(longer) == []
    assert longer.count >= layout_of(radius_ratio=ratio, half_angle_deg=angle).count


@settings(max_examples=25, deadline=None)
@given(st.floats(22.0, 300.0), st.floats(8.0, 40.0), st.floats(0.0, 12.0))
def test_behind_a_convex_face_the_bodies_do_not_touch_either(radius: float, diameter: float, edge: float) -> None:
    block = block_of(radius, diameter=diameter, edge=edge)
    if block.lenses == 1:
        return
    directions: list[Place] = [tuple(one) for one in block.layout().directions.tolist()][:30]
    for one, other in itertools.permutations(directions, 2):
        if apart(one, other) < 4 * math.asin(block.pitch_mm / 2 / radius):
            assert not any_inside(rims(one, radius, diameter / 2, edge), other, radius, diameter / 2, edge)


def test_without_room_for_the_back_corner_the_checker_sees_bodies_touch() -> None:
    """The checker itself: two thick lenses a bare millimetre apart at the front run into each other behind it."""
    radius, half, edge = 30.0, 10.0, 9.0
    angle = 2 * math.asin((half + 0.5) / radius)
    one, other = (0.0, 0.0, 1.0), (math.sin(angle), 0.0, math.cos(angle))
    assert any_inside(rims(one, radius, half, edge), other, radius, half, edge)
    needed = clearance_diameter_mm(radius_mm=radius, diameter_mm=2 * half, edge_mm=edge)
    wider = 2 * math.asin(needed / 2 / radius)
    clear = (math.sin(wider), 0.0, math.cos(wider))
    assert not any_inside(rims(one, radius, half, edge), clear, radius, half, edge)


@settings(max_examples=40, deadline=None)
@given(st.floats(21.0, 400.0), st.booleans(), st.floats(30.0, 75.0), st.floats(25.0, 50.0))
def test_no_block_is_higher_than_its_work_allows_nor_wider_than_the_largest(
    radius: float, convex: bool, high: float, concave: float
) -> None:
    """Concave blocks stay lower, so that the tool can enter."""
    block = block_of(radius, convex=convex, convex_half_angle_deg=high, concave_half_angle_deg=concave)
    if block.lenses > 1:
        outermost = max(apart(tuple(place), (0, 0, 1)) for place in block.layout().directions.tolist())
        rim = outermost + math.asin(block.pitch_mm / 2 / radius)
        assert math.degrees(rim) <= (high if convex else concave) + 1e-4
        assert 2 * radius * math.sin(rim) <= 240.0 + 1e-3


@settings(deadline=None)
@given(st.floats(20.0, 400.0))
def test_the_number_on_the_route_card_is_the_number_drawn(radius: float) -> None:
    block = block_of(radius)
    if block.lenses > 1:
        assert block.layout().count == block.lenses
        assert block.layout().pattern == block.pattern


@pytest.mark.parametrize("diameter", [10.0, 25.0, 38.0, 50.0, 80.0, 110.0])
def test_a_flat_block_is_drawn_with_as_many_as_are_counted(diameter: float) -> None:
    block = block_of(None, diameter=diameter)
    layout = block.layout()
    assert layout.count == block.lenses
    assert faults_of(layout) == []


def test_the_same_block_is_laid_out_the_same_again() -> None:
    before = layout_of(radius_ratio=2.0, half_angle_deg=60.0, tries=3)
    forget_layouts()
    again = layout_of(radius_ratio=2.0, half_angle_deg=60.0, tries=3)
    assert again is not before
    assert again.centres.tobytes() == before.centres.tobytes()
    assert layout_of(radius_ratio=2.0, half_angle_deg=60.0, tries=3) is again


def test_ratios_that_differ_by_rounding_share_a_layout() -> None:
    assert layout_of(radius_ratio=2.0 + 1e-13, half_angle_deg=60.0) is layout_of(radius_ratio=2.0, half_angle_deg=60.0)


def test_nested_rings_are_fuller_where_equal_rings_interlock() -> None:
    cap = Cap(math.asin(1 / 6), math.radians(75) - math.asin(1 / 6))
    assert lenses_of(nested_rings(cap)) == 40
    assert lenses_of(spaced_rings(cap)) == 36


def test_a_block_of_hundreds_is_still_laid_out() -> None:
    layout = layout_of(radius_ratio=14.0, half_angle_deg=60.0)
    assert layout.count > 500
    assert layout.least_distance >= 1 - TAKEN_FROM_THE_GAP
    assert layout.count >= lenses_in_rings(radius_ratio=14.0, half_angle_deg=60.0)


def test_on_a_very_long_radius_a_block_holds_what_a_flat_one_holds() -> None:
    flat = layout_of(radius_ratio=None, width_ratio=8.0)
    angle = math.degrees(math.asin(4.0 / 5000.0))
    assert layout_of(radius_ratio=5000.0, half_angle_deg=angle).count == flat.count


def test_a_block_narrower_than_a_lens_holds_none_and_one_as_wide_holds_one() -> None:
    assert layout_of(radius_ratio=None, width_ratio=0.99).count == 0
    assert layout_of(radius_ratio=2.0, half_angle_deg=10.0).count == 0
    one = layout_of(radius_ratio=2.0, half_angle_deg=20.0)
    assert (one.count, one.pattern, one.separation_deg) == (1, "one lens", 360.0)
    assert math.isinf(one.least_distance)


@pytest.mark.parametrize(("ratio", "angle"), [(0.49, 60.0), (2.0, 0.0), (2.0, 181.0)])
def test_past_the_sphere_nothing_is_laid_out(ratio: float, angle: float) -> None:
    with pytest.raises(FigureOutOfRange):
        layout_of(radius_ratio=ratio, half_angle_deg=angle)


def test_two_lenses_pushed_on_a_sphere_end_at_opposite_poles() -> None:
    ground = Ground(1.0, -1.0, 0.0)
    found = spread(scattered(ground, 2, seed=1), ground, first_aim=2.0, rounds=4, moves=200)
    assert least_distance(found) == pytest.approx(2.0, abs=1e-3)


def test_pushing_keeps_lenses_within_the_block_and_on_it() -> None:
    ground = Ground(2.0, 2.0 * math.cos(0.8), 2.0 * math.sin(0.8))
    pushed = pushed_apart(scattered(ground, 14, seed=3), ground, moves=80)
    assert np.abs(np.sqrt((pushed**2).sum(axis=0)) - 2.0).max() < 1e-9
    assert pushed[2].min() >= ground.height - 1e-9


def test_the_largest_hole_of_a_ring_is_its_middle() -> None:
    ground = Ground(2.0, 1.6, 1.2)
    ring = np.array([[1.2 * math.cos(turn), 1.2 * math.sin(turn), 1.6] for turn in np.linspace(0, 2 * math.pi, 7)[:-1]]).T
    x, y, _ = with_one_more(ring, ground)[:, -1]
    assert math.hypot(x, y) < 0.3


SVG = "{http://www.w3.org/2000/svg}"


def drawing(layout: BlockLayout, *, lenses: int, radius_mm: float | None, title: str = "L1 front") -> BlockDrawn:
    return BlockDrawn(
        title=title, layout=layout, lenses=lenses, diameter_mm=24.0, pitch_mm=25.0, radius_mm=radius_mm, convex=True
    )  # fmt: skip


def test_the_picture_shows_every_lens_to_scale_with_rim_bar_and_count() -> None:
    layout = layout_of(radius_ratio=2.0, half_angle_deg=60.0)
    picture = ElementTree.fromstring(block_svg(drawing(layout, lenses=layout.count, radius_mm=50.0)))
    lenses = [shape for shape in picture.iter(f"{SVG}ellipse") if shape.get("class") == "lens"]
    assert len(lenses) == layout.count == 11
    scale = 520.0 / (2 * 50.0 * math.sin(math.radians(60)))
    assert {float(lens.get("ry", "0")) for lens in lenses} == {round(12.0 * scale, 2)}
    outermost = min(float(lens.get("rx", "0")) for lens in lenses)
    assert outermost == pytest.approx(12.0 * scale * float(layout.directions[:, 2].min()), abs=0.01)
    words = " ".join(text.text or "" for text in picture.iter(f"{SVG}text"))
    assert all(part in words for part in ("11 lenses", "20 mm", "R 50.00 mm"))
    assert not list(picture.iter(f"{SVG}script"))


def test_in_the_picture_no_lens_reaches_over_the_rim() -> None:
    layout = layout_of(radius_ratio=3.0, half_angle_deg=75.0)
    picture = ElementTree.fromstring(block_svg(drawing(layout, lenses=layout.count, radius_mm=75.0)))
    for lens in picture.iter(f"{SVG}ellipse"):
        x, y, rx = (float(lens.get(name, "0")) for name in ("cx", "cy", "rx"))
        assert math.hypot(x, y) + rx <= 260.0


def test_places_that_stay_empty_are_drawn_empty_and_any_title_can_be_drawn() -> None:
    layout = layout_of(radius_ratio=None, width_ratio=5.0)
    picture = ElementTree.fromstring(block_svg(drawing(layout, lenses=12, radius_mm=None, title="<L1> & \x07 front")))
    kinds = [shape.get("class") for shape in picture.iter(f"{SVG}ellipse")]
    assert (kinds.count("lens"), kinds.count("empty")) == (12, 7)
    assert "12 lenses in 19 places" in " ".join(text.text or "" for text in picture.iter(f"{SVG}text"))


def planned(made: Any, rates: Rates, *, pictures: bool) -> OperationPlan:
    found = plan_operations(job=made.job, check=made.check, blanks=made.blanks, rates=rates, pictures=pictures)
    assert isinstance(found, OperationPlan)
    return found


def test_pictures_of_blocks_come_only_on_asking_and_say_what_the_route_card_says(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    made = lens(piece(radii_mm=(80.0, None)), piece(name="L2", radii_mm=(-16.0, 90.0)))
    assert planned(made, rates, pictures=False).blocks == ()
    plan = planned(made, rates, pictures=True)
    drawn: dict[tuple[str, str | None], BlockPicture] = {(one.part, one.face): one for one in plan.blocks}
    on_blocks = {
        (route.part, step.face): step
        for route in plan.routes
        for step in route.operations
        if step.operation == "block" and step.batch_size > 1
    }
    assert drawn.keys() == on_blocks.keys() >= {("L1", "front"), ("L1", "back"), ("L2", "back")}
    for place, step in on_blocks.items():
        assert drawn[place].lenses == step.batch_size
        assert drawn[place].least_gap_mm > 1.49
        assert drawn[place].svg.startswith("<svg")


def test_the_route_card_says_in_which_pattern_lenses_stand_and_what_the_trade_formula_says(
    lens: Callable[..., Any], piece: Callable[..., Any], rates: Rates
) -> None:
    plan = planned(lens(piece(radii_mm=(80.0, -80.0))), rates, pictures=False)
    step = next(one for one in plan.routes[0].operations if one.operation == "block")
    figure = next(one for one in step.basis if one.name == "batch_size")
    assert str(figure.reason).startswith("layout found by search")
    formula = next(one for one in figure.inputs if one.name == "trade formula")
    assert isinstance(formula.value, float)
    assert step.batch_size >= math.floor(formula.value)
