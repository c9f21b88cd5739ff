"""Equal circles in a circle: every layout proved by a checker that knows nothing of how it was made, and held against plain ones."""

from __future__ import annotations

import csv
import math
from importlib.resources import files

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.shop.layout.circles_in_circle import MOST_COUNTED, CirclesInCircle, circles_in_circle, forget_circles

ROUNDING = 1e-9

# Least D/d that holds N = 1 to 20: E. Specht's tables, as https://en.wikipedia.org/wiki/Circle_packing_in_a_circle has them.
BEST_KNOWN = (
    1.0, 2.0, 2.154701, 2.414214, 2.701302, 3.0, 3.0, 3.304765, 3.613126, 3.813026, 3.923804, 4.029602, 4.236068, 4.328429, 4.521357,
    4.615426, 4.792034, 4.863703, 4.863703, 5.122321,
)  # fmt: skip


def faults_of(laid: CirclesInCircle) -> list[str]:
    """Too many or too few places, circles over the rim, and circles that overlap; every pair is looked at."""
    x, y = laid.centres.T
    faults = [] if len(laid.centres) == laid.count else [f"{len(laid.centres)} places for {laid.count} circles"]
    over = np.hypot(x, y).max(initial=0.0) - (laid.ratio - 1) / 2
    if laid.count and over > ROUNDING:
        faults.append(f"{over} over the rim")
    apart = np.hypot(x[:, None] - x, y[:, None] - y)[np.triu_indices(len(x), 1)]
    if apart.min(initial=1.0) < 1 - ROUNDING:
        faults.append(f"two are {apart.min()} apart")
    return faults


def about_three_middles(ratio: float) -> int:
    """Of a lattice about a circle, the middle of two and that of three."""
    reach, many = (ratio - 1) / 2 + ROUNDING, math.ceil(ratio) + 2
    i, j = np.meshgrid(np.arange(-many, many + 1), np.arange(-many, many + 1))
    x, y = i + j % 2 / 2, j * math.sqrt(0.75)
    middles = ((0.0, 0.0), (0.5, 0.0), (0.5, math.sqrt(3) / 6))
    return max(int((np.hypot(x - across, y - up) <= reach).sum()) for across, up in middles)


def in_rings(ratio: float) -> int:
    """Of full rings one diameter apart, from the rim inwards."""
    radii = np.arange((ratio - 1) / 2, -ROUNDING, -1.0)
    return sum(math.floor(math.pi / math.asin(0.5 / radius) + ROUNDING) if radius >= 0.5 - ROUNDING else 1 for radius in radii)


def by_the_formula(ratio: float) -> int:
    """The trade's 3/4 (D/d)^2 - 1/2 above twenty, the published packings below."""
    published = sum(needed <= ratio - 2e-6 for needed in BEST_KNOWN)
    return max(published, math.floor(0.75 * ratio**2 - 0.5)) if ratio > BEST_KNOWN[-1] else published


@settings(max_examples=150, deadline=None)
@given(st.floats(1.0, 40.0))
def test_no_two_circles_overlap_and_none_leaves_the_rim(ratio: float) -> None:
    laid = circles_in_circle(ratio=ratio)
    assert faults_of(laid) == []
    assert laid.count <= math.pi / math.sqrt(12) * (ratio + 1) ** 2


def test_every_packing_of_the_file_stands_at_its_own_ratio_and_is_not_met_a_hair_below() -> None:
    text = files("services.shop.layout").joinpath("circles_in_circle.csv").read_text(encoding="utf-8")
    rows = [(int(row["circles"]), float(row["ratio"])) for row in csv.DictReader(text.splitlines())]
    assert rows == sorted(rows)
    assert [ratio for _, ratio in rows] == sorted(ratio for _, ratio in rows)
    for circles, ratio in rows:
        laid = circles_in_circle(ratio=ratio)
        assert faults_of(laid) == []
        assert laid.count == circles
        assert circles_in_circle(ratio=ratio - 1e-5).count < circles


def test_nowhere_from_one_to_twenty_do_lattices_rings_or_the_formula_hold_more_and_the_count_never_falls() -> None:
    before = 0
    for ratio in (1 + step / 200 for step in range(3801)):
        laid = circles_in_circle(ratio=ratio)
        assert laid.count >= max(before, about_three_middles(ratio), in_rings(ratio), by_the_formula(ratio)), ratio
        before = laid.count


@settings(max_examples=100, deadline=None)
@given(st.floats(0.5, 1500.0), st.floats(0.0, 5.0))
def test_a_larger_circle_never_holds_fewer(ratio: float, more: float) -> None:
    assert circles_in_circle(ratio=ratio + more).count >= circles_in_circle(ratio=ratio).count


@pytest.mark.parametrize(("ratio", "count"), [(0.99, 0), (math.nan, 0), (1.0, 1), (1.999, 1), (2.0, 2), (3.0, 7), (5.0, 19)])
def test_small_circles_hold_what_plain_geometry_says(ratio: float, count: int) -> None:
    laid = circles_in_circle(ratio=ratio)
    assert laid.count == count == len(laid.centres)


def test_the_best_offset_of_a_lattice_is_met_where_no_packing_is_known() -> None:
    """163 in D/d = 400/28: computed independently."""
    laid = circles_in_circle(ratio=400 / 28)
    assert (laid.count, laid.pattern) == (163, "hexagonal")


def test_a_known_packing_is_spread_until_it_touches_the_rim() -> None:
    laid = circles_in_circle(ratio=7.05)
    assert (laid.count, laid.pattern) == (38, "best packing known")
    assert float(np.hypot(*laid.centres.T).max()) == pytest.approx(3.025, abs=1e-9)


def test_far_out_circles_are_counted_by_area_and_still_have_places() -> None:
    counted, by_area = (circles_in_circle(ratio=ratio) for ratio in (MOST_COUNTED, 1.02 * MOST_COUNTED))
    assert by_area.pattern == "hexagonal, counted by area"
    assert counted.count < by_area.count < 0.9069 * (1.02 * MOST_COUNTED) ** 2
    assert circles_in_circle(ratio=MOST_COUNTED + 1e-6) is counted


def test_a_layout_is_remembered_and_is_the_same_when_it_is_found_again() -> None:
    before = circles_in_circle(ratio=9.3)
    assert circles_in_circle(ratio=9.3) is before
    forget_circles()
    again = circles_in_circle(ratio=9.3)
    assert again is not before
    assert again.centres.tobytes() == before.centres.tobytes()
    with pytest.raises(ValueError, match="read-only"):
        again.centres[0, 0] = 0.0
