from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.shop.layout.circles_in_circle import MOST_DRAWN, circles_in_circle, hexagonal, ring_counts
from services.shop.layout.lenses_on_block import BEST_FLAT


@given(st.floats(1.0, 25.0))
def test_circles_of_the_lattice_neither_touch_nor_leave(ratio: float) -> None:
    places = hexagonal(ratio=ratio)
    assert np.all(np.hypot(*places.T) <= (ratio - 1) / 2 + 1e-8)
    apart = np.linalg.norm(places[:, np.newaxis] - places[np.newaxis], axis=2) + 2 * np.eye(len(places))
    assert apart.min() >= 1 - 1e-8


@given(st.floats(1.0, 25.0))
def test_circles_in_rings_neither_touch_nor_leave(ratio: float) -> None:
    places = []
    for ring, count in enumerate(ring_counts(ratio=ratio)):
        radius = (ratio - 1) / 2 - ring if count > 1 else 0.0
        places += [(radius * math.cos(2 * math.pi * k / count), radius * math.sin(2 * math.pi * k / count)) for k in range(count)]
    found = np.array(places)
    assert np.all(np.hypot(*found.T) <= (ratio - 1) / 2 + 1e-8)
    apart = np.linalg.norm(found[:, np.newaxis] - found[np.newaxis], axis=2) + 2 * np.eye(len(found))
    assert apart.min() >= 1 - 1e-8


@given(st.floats(1.0, 200.0))
def test_no_more_circles_than_have_room_and_not_many_fewer(ratio: float) -> None:
    found = circles_in_circle(ratio=ratio).circles
    assert found <= math.pi / math.sqrt(12) * (ratio + 1) ** 2
    assert found >= 0.75 * ratio**2 - 0.5 - 2 - ratio / 20


@pytest.mark.parametrize(("block", "pitch", "least"), [(400.0, 28.0, 163), (100.0, 20.0, 19)])
def test_calottes_of_known_size(block: float, pitch: float, least: int) -> None:
    """The best offset of a hexagonal lattice, computed independently; 19 in five diameters by the published table."""
    assert circles_in_circle(ratio=block / pitch).circles == least


def test_up_to_twenty_the_published_packings_are_met_and_just_below_a_step_one_is_missing() -> None:
    for count in range(1, 21):
        most = max(n for n, needed in enumerate(BEST_FLAT) if needed <= BEST_FLAT[count])
        assert circles_in_circle(ratio=BEST_FLAT[count]).circles == most
        if BEST_FLAT[count] > BEST_FLAT[count - 1]:
            assert circles_in_circle(ratio=BEST_FLAT[count] - 1e-4).circles < count


def test_nothing_stands_in_a_circle_that_is_too_small_and_the_count_goes_on_where_layouts_end() -> None:
    assert circles_in_circle(ratio=0.99).circles == 0
    drawn, counted = (circles_in_circle(ratio=ratio).circles for ratio in (MOST_DRAWN, MOST_DRAWN + 1e-6))
    assert 0.95 * drawn < counted <= drawn
