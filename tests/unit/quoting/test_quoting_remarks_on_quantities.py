"""What is said of a quantity: that it is too much for the shop, that a few more would cost less; and no price depends on the others."""

from __future__ import annotations

import json
from datetime import date
from functools import cache
from pathlib import Path

import pytest

from services.glass.domain.plan import plan_blanks
from services.prescription.domain.check import check
from services.process.domain.plan import plan_operations
from services.quoting.pricing.quote import assemble
from shared_schemas.quote import QuoteBody, QuoteRequest
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job, Refusal

DEMO = Path(__file__).parents[3] / "services" / "desk" / "demo" / "lake_ice_lidar.json"


def blanks_of(body: QuoteBody) -> list[tuple[str, float, float]]:
    return [(one.blank.stock, one.blank.diameter_mm, one.blank.thickness_mm) for one in body.elements]


def quoted(rates: Rates, *quantities: int) -> QuoteBody:
    asked = QuoteRequest.model_validate({**json.loads(DEMO.read_text()), "quantities": quantities})
    job = Job(number="Q-2026-000001", attempt=1, request=asked, rate_revision=1, quoted_on=date(2026, 11, 2))
    report = check(job=job, rates=rates)
    assert not isinstance(report, Refusal)
    blanks = plan_blanks(job=job, check=report, rates=rates)
    assert not isinstance(blanks, Refusal)
    operations = plan_operations(job=job, check=report, blanks=blanks, rates=rates)
    assert not isinstance(operations, Refusal)
    return assemble(job=job, check=report, blanks=blanks, operations=operations, rates=rates, rate_digest="x")


@pytest.mark.parametrize("quantities", [(5, 25), (25, 100), (25, 1000), (1, 5, 25, 100, 500)])
def test_the_price_of_a_quantity_does_not_depend_on_what_else_is_asked(rates: Rates, quantities: tuple[int, ...]) -> None:
    @cache
    def alone(quantity: int) -> QuoteBody:
        return quoted(rates, quantity)

    together = quoted(rates, *quantities)
    same = 0
    for one in together.breaks:
        # Blanks have one form in a quote, that of the middle quantity; where it is another one, a finding says so.
        if blanks_of(alone(one.quantity)) == blanks_of(together):
            assert one.lines == alone(one.quantity).breaks[0].lines
            same += 1
    assert same


def test_a_larger_quantity_that_costs_less_is_named(rates: Rates) -> None:
    body = quoted(rates, 99)
    (remark,) = [one for one in body.findings if one.code == "more-cost-less"]
    assert remark.message.startswith("100 pieces cost ")
    assert remark.limit == float(quoted(rates, 100).breaks[0].total_price) < float(body.breaks[0].total_price)
    assert not [one for one in quoted(rates, 60).findings if one.code == "more-cost-less"]


def test_a_quantity_that_takes_years_is_no_offer_and_names_the_bottleneck(rates: Rates) -> None:
    (remark,) = [one for one in quoted(rates, 20_000).findings if one.code == "lead-time-too-long"]
    assert remark.severity == "stop"
    assert any(centre.name in (remark.remedy or "") for centre in rates.work_centres)
    assert not [one for one in quoted(rates, 25).findings if one.code == "lead-time-too-long"]
