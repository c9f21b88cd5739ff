from __future__ import annotations

import math
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.glass.domain.blank.sizes import plates_in_depth
from services.glass.errors import SizeImpossible
from services.shop.layout.rows import PATTERNS, RowPattern, best_rows, disc_centres, disc_count
from shared_schemas.problem import FigureOutOfRange

sizes = st.floats(20, 200)
discs = st.floats(5, 60)
gaps = st.floats(0, 6)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(PATTERNS), sizes, sizes, discs, gaps)
def test_discs_never_overlap_never_leave_the_plate_and_are_as_many_as_counted(
    pattern: RowPattern, length: float, width: float, diameter: float, gap: float
) -> None:
    centres = disc_centres(pattern=pattern, length_mm=length, width_mm=width, diameter_mm=diameter, gap_mm=gap)
    assert len(centres) == disc_count(pattern=pattern, length_mm=length, width_mm=width, diameter_mm=diameter, gap_mm=gap)
    for centre in centres:
        assert diameter / 2 - 1e-6 <= centre.x_mm <= length - diameter / 2 + 1e-6
        assert diameter / 2 - 1e-6 <= centre.y_mm <= width - diameter / 2 + 1e-6
    for one, other in combinations(centres, 2):
        assert math.dist((one.x_mm, one.y_mm), (other.x_mm, other.y_mm)) >= diameter + gap - 1e-6


@settings(max_examples=60, deadline=None)
@given(sizes, sizes, discs, gaps)
def test_the_best_rows_are_never_worse_than_any_pattern_and_turn_with_the_plate(
    length: float, width: float, diameter: float, gap: float
) -> None:
    best = best_rows(length_mm=length, width_mm=width, diameter_mm=diameter, gap_mm=gap)
    turned = best_rows(length_mm=width, width_mm=length, diameter_mm=diameter, gap_mm=gap)
    assert best.discs == turned.discs
    assert all(
        best.discs >= disc_count(pattern=pattern, length_mm=length, width_mm=width, diameter_mm=diameter, gap_mm=gap)
        for pattern in PATTERNS
    )
    assert best.discs * math.pi * diameter**2 / 4 <= length * width


@pytest.mark.parametrize("pattern", PATTERNS)
def test_a_disc_as_large_as_the_plate_fits_once_and_a_larger_one_not_at_all(pattern: RowPattern) -> None:
    assert disc_count(pattern=pattern, length_mm=50, width_mm=50, diameter_mm=50, gap_mm=2) == 1
    assert disc_count(pattern=pattern, length_mm=50, width_mm=50, diameter_mm=50.01, gap_mm=2) == 0


def test_a_row_that_fits_exactly_is_not_lost_to_binary_arithmetic() -> None:
    assert disc_count(pattern="square", length_mm=0.1 * 3, width_mm=0.1, diameter_mm=0.1, gap_mm=0.0) == 3


@pytest.mark.parametrize(("diameter", "gap"), [(0.0, 1.0), (-1.0, 1.0), (5.0, -0.1), (float("nan"), 1.0)])
def test_a_disc_or_a_gap_that_cannot_be_is_refused(diameter: float, gap: float) -> None:
    with pytest.raises(FigureOutOfRange):
        best_rows(length_mm=100, width_mm=100, diameter_mm=diameter, gap_mm=gap)


def test_between_plates_lies_a_cut_and_the_skin_goes_off_both_ends() -> None:
    assert plates_in_depth(depth_mm=40, thickness_mm=7, kerf_mm=1.2, skin_mm=1.0) == 4
    assert plates_in_depth(depth_mm=4 * 7 + 3 * 1.2 + 2, thickness_mm=7, kerf_mm=1.2, skin_mm=1.0) == 4
    assert plates_in_depth(depth_mm=4 * 7 + 3 * 1.2 + 1.99, thickness_mm=7, kerf_mm=1.2, skin_mm=1.0) == 3


def test_a_plate_thicker_than_the_slab_gives_none() -> None:
    assert plates_in_depth(depth_mm=20, thickness_mm=18.5, kerf_mm=1.0, skin_mm=1.0) == 0
    assert plates_in_depth(depth_mm=1, thickness_mm=18.5, kerf_mm=1.0, skin_mm=1.0) == 0


@pytest.mark.parametrize(("plate", "kerf", "skin"), [(0.0, 1.0, 1.0), (5.0, -1.0, 1.0), (5.0, 1.0, -1.0)])
def test_plates_that_cannot_be_are_refused(plate: float, kerf: float, skin: float) -> None:
    with pytest.raises(SizeImpossible):
        plates_in_depth(depth_mm=40, thickness_mm=plate, kerf_mm=kerf, skin_mm=skin)
