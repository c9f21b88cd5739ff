"""One lens in three grades against the published price steps."""

from __future__ import annotations

import math
from typing import Any, Literal

import pytest

from shared_schemas.rates import Rates
from tests.chain import quote_of, request_of, singlet

PUBLISHED_STEP = 1.5
"""From commercial to precision, and again to high precision: https://www.optimaxsi.com/optics-in-one-week/ (page on tolerances)."""

Grade = Literal["commercial", "precision", "high"]
GRADES: dict[Grade, tuple[float, float, float, float, float, float]] = {
    "commercial": (0.10, 0.15, 2, 5, 0.05, 0.5),
    "precision": (0.025, 0.05, 0.5, 3, 0.01, 0.4),
    "high": (0.015, 0.025, 0.2, 1, 0.005, 0.1),
}
"""Diameter +0/-, centre thickness +/- [mm], irregularity and power [fringe], difference of the edge [mm], grade of imperfections [mm].

Diameters are the published ones; the rest of that chart from memory.
"""

LENSES: dict[str, dict[str, Any]] = {
    "the published lens, 25 mm of N-BK7": {},
    "20 mm of N-SF11": {
        "glass": "N-SF11",
        "diameter_mm": 20.0,
        "centre_thickness_mm": 4.5,
        "front_mm": 50.0,
        "back_mm": -50.0,
    },
    "40 mm of N-LAK22": {
        "glass": "N-LAK22",
        "diameter_mm": 40.0,
        "centre_thickness_mm": 9.0,
        "front_mm": 80.0,
        "back_mm": -80.0,
    },
    "a meniscus": {"centre_thickness_mm": 5.0, "front_mm": 36.52, "back_mm": 80.0},
    "plano-convex": {"centre_thickness_mm": 5.0, "back_mm": None},
}

"""Lenses whose radii are those of test plates that the shop owns: the published step is of work, not of tools."""


def prescription(shape: dict[str, Any], grade: Grade) -> dict[str, Any]:
    """A lens in a grade; the difference of the edge is that of the published lens, so the same tilt on all."""
    diameter, thickness, irregularity, power, edge, imperfections = GRADES[grade]
    tilt_arcmin = math.degrees(edge / 25.0) * 60
    return singlet(
        **shape,
        form=f"3/{power}({irregularity})",
        imperfections=f"5/3x{imperfections}",
        tolerances={
            "diameter_mm": [0.0, -diameter],
            "centre_thickness_mm": thickness,
            "centring": f"4/{tilt_arcmin:.4f}'",
        },
    )


def price(shape: dict[str, Any], grade: Grade, rates: Rates) -> float:
    return float(quote_of(request_of(prescription(shape, grade), (25,)), rates).breaks[0].unit_price)


@pytest.mark.parametrize("lens", LENSES)
def test_each_grade_costs_half_as_much_again(lens: str, rates: Rates) -> None:
    steps = {grade: price(LENSES[lens], grade, rates) for grade in GRADES}
    ratios = [steps[grade] / steps["commercial"] for grade in ("precision", "high")]
    assert ratios == [pytest.approx(PUBLISHED_STEP, rel=0.1), pytest.approx(PUBLISHED_STEP**2, rel=0.1)], f"{lens}: 1 / {ratios}"
