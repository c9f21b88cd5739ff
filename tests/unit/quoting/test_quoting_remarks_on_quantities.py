"""What is said of a quantity: that it is too much for the shop, or less sure than asked; and no price depends on the others."""

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
    for one in together.breaks:
        assert one.lines == alone(one.quantity).breaks[0].lines


def test_where_a_whole_lot_may_be_lost_it_is_said_how_sure_the_starts_are(rates: Rates) -> None:
    fragile = rates.model_copy(
        update={
            "yields": tuple(row.model_copy(update={"batch_loss": 0.04 if row.operation == "coat" else 0.0}) for row in rates.yields)
        }
    )
    (remark,) = [one for one in quoted(fragile, 5).findings if one.code == "confidence-out-of-reach"]
    assert isinstance(remark.figure, float)
    assert 0.5 < remark.figure < 0.9 == remark.limit
    sturdy = rates.model_copy(update={"yields": tuple(row.model_copy(update={"batch_loss": 0.0}) for row in rates.yields)})
    assert not [one for one in quoted(sturdy, 5).findings if one.code == "confidence-out-of-reach"]


def test_a_quantity_that_takes_years_is_no_offer_and_names_the_bottleneck(rates: Rates) -> None:
    (remark,) = [one for one in quoted(rates, 20_000).findings if one.code == "lead-time-too-long"]
    assert remark.severity == "stop"
    assert any(centre.name in (remark.remedy or "") for centre in rates.work_centres)
    assert not [one for one in quoted(rates, 25).findings if one.code == "lead-time-too-long"]
