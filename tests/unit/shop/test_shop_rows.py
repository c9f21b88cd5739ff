"""Rows of discs in a plate: no disc and no gap of no size; seats by hand."""

from __future__ import annotations

import math
from itertools import combinations

import pytest

from services.shop.layout.rows import best_rows, disc_centres
from shared_schemas.problem import FigureOutOfRange


@pytest.mark.parametrize(("diameter_mm", "gap_mm"), [(0.0, 1.0), (-1.0, 1.0), (10.0, -0.1)])
def test_a_disc_of_no_size_and_a_gap_below_none_are_refused(diameter_mm: float, gap_mm: float) -> None:
    with pytest.raises(FigureOutOfRange):
        best_rows(length_mm=100.0, width_mm=50.0, diameter_mm=diameter_mm, gap_mm=gap_mm)


def test_square_rows_hold_as_many_as_fit_each_way_with_a_gap_between() -> None:
    centres = disc_centres(pattern="square", length_mm=43.0, width_mm=21.0, diameter_mm=10.0, gap_mm=1.0)
    assert sorted((one.x_mm, one.y_mm) for one in centres) == [(5.0 + 11 * i, 5.0 + 11 * j) for i in range(4) for j in range(2)]


def test_hexagonal_rows_are_shifted_by_half_a_pitch_and_stand_closer() -> None:
    centres = disc_centres(pattern="hexagonal_along_length", length_mm=44.0, width_mm=30.0, diameter_mm=10.0, gap_mm=1.0)
    rows = sorted({round(one.y_mm, 9) for one in centres})
    assert rows == pytest.approx([5.0, 5.0 + 11 * math.sqrt(3) / 2, 5.0 + 11 * math.sqrt(3)])
    firsts = [min(one.x_mm for one in centres if round(one.y_mm, 9) == row) for row in rows]
    assert firsts == pytest.approx([5.0, 10.5, 5.0])
    assert min(math.hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm) for a, b in combinations(centres, 2)) >= 11.0 - 1e-9
