"""One lens in three grades against the published price steps; where the demo rates deviate, the test says by how much."""

from __future__ import annotations

from datetime import date
from typing import Any, Literal

import pytest

from services.glass.domain.plan import plan_blanks
from services.prescription.domain.check import check
from services.process.domain.plan import plan_operations
from services.quoting.pricing.quote import assemble
from shared_schemas.quote import QuoteBody, QuoteRequest
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job, Refusal

PUBLISHED_STEP = 1.5
"""From commercial to precision, and again to high precision: https://www.optimaxsi.com/optics-in-one-week/ (page on tolerances)."""

Grade = Literal["commercial", "precision", "high_precision"]


def singlet(grade: Grade, rates: Rates) -> dict[str, Any]:
    """A lens of 25 mm, every tolerance at the figure of that class in the rates."""
    asked = {row.attribute: float(getattr(row, grade)) for row in rates.tolerance_classes}
    face = {
        "clear_diameter_mm": 22.5,
        "form": f"3/{asked['power']:g}({asked['irregularity']:g})",
        "imperfections": f"5/3x{asked['imperfection_grade']:g}",
    }
    return {
        "title": f"A lens in {grade} grade",
        "elements": [
            {
                "name": "L1", "glass": "N-BK7", "diameter_mm": 25.0, "centre_thickness_mm": 6.0,
                "front": {"radius_mm": 50.0, **face}, "back": {"radius_mm": -50.0, **face},
                "tolerances": {
                    "diameter_mm": [0.0, -2 * asked["diameter"]], "centre_thickness_mm": asked["centre_thickness"],
                    "centring": f"4/{asked['centring']:g}'",
                },
            }
        ],
        "spaces": [],
    }  # fmt: skip


def quoted(grade: Grade, rates: Rates) -> QuoteBody:
    request = QuoteRequest.model_validate({"prescription": singlet(grade, rates), "quantities": [25, 100]})
    job = Job(number="Q", attempt=1, request=request, rate_revision=1, quoted_on=date(2026, 11, 2))
    report = check(job=job, rates=rates)
    assert not isinstance(report, Refusal)
    blanks = plan_blanks(job=job, check=report, rates=rates)
    assert not isinstance(blanks, Refusal)
    operations = plan_operations(job=job, check=report, blanks=blanks, rates=rates)
    assert not isinstance(operations, Refusal)
    return assemble(job=job, check=report, blanks=blanks, operations=operations, rates=rates, rate_digest="d")


@pytest.fixture(scope="module")
def prices(rates: Rates) -> dict[Grade, list[float]]:
    grades: tuple[Grade, ...] = ("commercial", "precision", "high_precision")
    return {grade: [float(one.unit_price) for one in quoted(grade, rates).breaks] for grade in grades}


def test_from_precision_to_high_precision_the_price_rises_by_about_a_half(prices: dict[Grade, list[float]]) -> None:
    # Published: 1.50. Found with the demo rates: 1.44 at 25 and 1.49 at 100 pieces.
    for finer, coarser in zip(prices["high_precision"], prices["precision"], strict=True):
        assert finer / coarser == pytest.approx(PUBLISHED_STEP, rel=0.1)


def test_from_commercial_to_precision_the_demo_rates_rise_by_a_fifth_and_not_by_a_half(prices: dict[Grade, list[float]]) -> None:
    # Published: 1.50. Found: 1.19 at 25 and 1.20 at 100 pieces, a fifth below. The knees of the demo rates, at which a
    # tolerance begins to cost time, lie near the precision class, and blank, set-ups and blocks are the same in both grades.
    for finer, coarser in zip(prices["precision"], prices["commercial"], strict=True):
        assert 1.1 < finer / coarser < PUBLISHED_STEP


def test_all_attributes_together_make_one_step_and_not_one_each(prices: dict[Grade, list[float]]) -> None:
    # The published step is for all tolerances at once; five attributes by half each would be 1.5^5 = 7.6.
    for finest, coarsest in zip(prices["high_precision"], prices["commercial"], strict=True):
        assert 1.5 < finest / coarsest < PUBLISHED_STEP**2
