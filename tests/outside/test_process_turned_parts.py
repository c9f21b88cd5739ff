"""Turning minutes against check values: a barrel of 30 mm out of bar of 32 mm, bored 24 mm, three finishing passes in and out, two threads.

The method (volume over removal rate, speed and feed) is common practice; the cutting figures of the metals and the values are from memory.
"""

from __future__ import annotations

import pytest

from services.optics.law import given
from services.process.domain.tools.turned_parts import (
    TurnedShape,
    bored_mm3,
    close_bore_factor,
    finishing_min,
    outside_mm3,
    roughing_min,
    turned_part,
)
from services.rates.domain.seed import seed_rates
from shared_schemas.operations import BoughtPart

RATES = seed_rates()
THREADS_AND_LOAD_MIN = 2 * 1.0 + 1.5


def minutes(metal: str, length_mm: float) -> float:
    row = RATES.metal(metal)
    volume = outside_mm3(outer_mm=30, stock_mm=2, length_mm=length_mm) + bored_mm3(bore_mm=24, length_mm=length_mm)
    cut = {"length_mm": length_mm, "cutting_m_per_min": row.cutting_m_per_min, "feed_mm": 0.08, "passes": 3}
    finished = finishing_min(diameter_mm=30, **cut) + finishing_min(diameter_mm=24, **cut)
    return roughing_min(volume_mm3=volume, removal_cm3_per_min=row.removal_cm3_per_min) + finished + THREADS_AND_LOAD_MIN


@pytest.mark.parametrize(
    ("metal", "length_mm", "expected_min"),
    [("aluminium", 62, 7.18), ("aluminium", 200, 15.36), ("stainless_steel", 62, 14.70), ("titanium", 62, 22.75)],
)
def test_a_barrel_takes_the_minutes_of_its_size_and_metal(metal: str, length_mm: float, expected_min: float) -> None:
    assert minutes(metal, length_mm) == pytest.approx(expected_min, abs=0.01)


def test_the_parts_of_the_minutes_are_those_of_the_worked_example() -> None:
    volume = outside_mm3(outer_mm=30, stock_mm=2, length_mm=62) + bored_mm3(bore_mm=24, length_mm=62)
    assert roughing_min(volume_mm3=volume, removal_cm3_per_min=20) == pytest.approx(1.704, abs=0.001)
    assert finishing_min(diameter_mm=24, length_mm=62, cutting_m_per_min=200, feed_mm=0.08, passes=1) == pytest.approx(
        0.2922, abs=1e-3
    )


def barrel(metal: str, length_mm: float) -> BoughtPart:
    shape = TurnedShape(given("outer_mm", 30.0), given("bore_mm", 24.0), given("length_mm", length_mm))
    return turned_part("barrel", "barrel", metal, shape, 1, RATES)


def test_a_barrel_three_times_as_long_costs_about_twice() -> None:
    assert 1.7 <= barrel("aluminium", 200.0).unit_price / barrel("aluminium", 62.0).unit_price <= 2.5


def test_a_barrel_of_titanium_costs_three_to_four_times_one_of_aluminium() -> None:
    assert 2.9 <= barrel("titanium", 62.0).unit_price / barrel("aluminium", 62.0).unit_price <= 4.0


@pytest.mark.parametrize(("tolerance_mm", "factor"), [(0.02, 1.0), (0.01, 1.3), (0.005, 1.8), (0.002, 3.0)])
def test_a_closer_bore_takes_longer_by_about_the_usual_factors(tolerance_mm: float, factor: float) -> None:
    (row,) = (row for row in RATES.turning if row.kind == "barrel")
    found = close_bore_factor(
        tolerance_mm=tolerance_mm, usual_tolerance_mm=row.usual_tolerance_mm, tolerance_power=row.tolerance_power
    )
    assert found == pytest.approx(factor, rel=0.07)
