"""Facts of the trade (common practice, without source) that the whole chain of stages must come near with everyday rates."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest

from services.glass.domain.plan import plan_blanks
from services.prescription.domain.check import check
from services.process.domain.plan import plan_operations
from services.quoting.pricing.quote import assemble
from shared_schemas.quote import QuoteBody
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job, Refusal

ROOT = Path(__file__).resolve().parents[2]


def quoted(request: QuoteRequest, rates: Rates) -> QuoteBody:
    job = Job(number="Q", attempt=1, request=request, rate_revision=1, quoted_on=date(2026, 11, 2))
    report = check(job=job, rates=rates)
    assert not isinstance(report, Refusal)
    blanks = plan_blanks(job=job, check=report, rates=rates)
    assert not isinstance(blanks, Refusal)
    operations = plan_operations(job=job, check=report, blanks=blanks, rates=rates)
    assert not isinstance(operations, Refusal)
    return assemble(job=job, check=report, blanks=blanks, operations=operations, rates=rates, rate_digest="d")


@pytest.fixture(scope="module")
def demo(rates: Rates) -> QuoteBody:
    (found,) = (ROOT / "services" / "desk" / "demo").glob("lake_*.json")
    return quoted(QuoteRequest.model_validate_json(found.read_text(encoding="utf-8")), rates)


@pytest.fixture(scope="module")
def triplet(rates: Rates) -> QuoteBody:
    # W. J. Smith, Modern Optical Engineering, 4th ed. (2008), p. 118-119, in today's glasses; tolerances invented.
    prescription = json.loads((ROOT / "tests/outside/prescriptions/S2-to-quote.json").read_text(encoding="utf-8"))
    return quoted(QuoteRequest.model_validate({"prescription": prescription, "quantities": [5, 25, 100]}), rates)


def test_a_lens_of_six_elements_takes_about_six_weeks(demo: QuoteBody) -> None:
    # Common practice: a complete lens of many elements takes about six weeks.
    assert 5 * 7 <= demo.breaks[0].lead_time.p50_days <= 8 * 7


def test_the_published_triplet_is_quoted_at_its_published_focal_length(triplet: QuoteBody) -> None:
    # Published with indices 1.61272 and 1.64769: 101.181. N-SK4 and SF2 of today differ in the sixth digit.
    assert triplet.check.first_order.focal_length_mm == pytest.approx(101.181, rel=2e-4)
    assert triplet.check.first_order.back_focus_mm == pytest.approx(77.405, rel=2e-4)
    assert [one.quantity for one in triplet.breaks] == [5, 25, 100]


def test_one_piece_costs_many_times_what_one_of_a_hundred_does(triplet: QuoteBody, rates: Rates) -> None:
    # Common practice: set-ups and blocks make the first piece dear; between 10 and 100 the price falls about with the root.
    five, _, hundred = (one.unit_price for one in triplet.breaks)
    assert 1.5 < five / hundred < 6
