"""Rows of discs against figures from outside, the source beside each."""

from __future__ import annotations

import math

import pytest

from services.shop.layout.rows import HEXAGONAL_LIMIT, PATTERNS, RowPattern, best_rows, disc_count

# Discs in a plate: length, width, diameter, gap; square, hexagonal along length, along width. Computed independently.
ROWS = [
    (160, 160, 27, 2, 25, 30, 30),
    (300, 200, 27, 2, 60, 67, 66),
    (160, 160, 50, 2, 9, 8, 8),
    (150, 150, 20, 1.5, 49, 46, 46),
    (100, 100, 9, 1, 100, 105, 105),
]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row[0]}x{row[1]} d{row[2]}+{row[3]}")
def test_rows_in_a_plate(row: tuple[float, float, float, float, int, int, int]) -> None:
    length, width, diameter, gap, *counts = row
    found = [
        disc_count(pattern=pattern, length_mm=length, width_mm=width, diameter_mm=diameter, gap_mm=gap) for pattern in PATTERNS
    ]
    assert found == counts
    assert best_rows(length_mm=length, width_mm=width, diameter_mm=diameter, gap_mm=gap).discs == max(counts)


@pytest.mark.parametrize(
    ("side", "diameter", "gap", "wins"),
    [(160, 50, 2, "square"), (150, 20, 1.5, "square"), (160, 27, 2, "hexagonal_along_length")],
)
def test_on_a_small_plate_the_square_may_win(side: float, diameter: float, gap: float, wins: RowPattern) -> None:
    assert best_rows(length_mm=side, width_mm=side, diameter_mm=diameter, gap_mm=gap).pattern == wins


# The densest cover of the plane by discs is pi/sqrt(12) = 0.9068997; square rows cover pi/4 = 0.785398. Derived.
def test_rows_come_near_the_hexagonal_limit_on_a_large_plate_and_never_above_it() -> None:
    assert pytest.approx(0.9068997, abs=1e-7) == HEXAGONAL_LIMIT
    densities = [
        best_rows(length_mm=side, width_mm=side, diameter_mm=1.0, gap_mm=0.0).discs * math.pi / 4 / side**2
        for side in (10.0, 100.0, 1000.0, 10_000.0)
    ]
    assert densities == sorted(densities)
    assert all(density < HEXAGONAL_LIMIT for density in densities)
    assert densities[-1] == pytest.approx(HEXAGONAL_LIMIT, rel=2e-4)
    square = disc_count(pattern="square", length_mm=1000.0, width_mm=1000.0, diameter_mm=1.0, gap_mm=0.0)
    assert square * math.pi / 4 / 1000**2 == pytest.approx(math.pi / 4, rel=1e-12)
