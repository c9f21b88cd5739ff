"""What is said of a quantity: that it is too much for the shop, or less sure than asked; and no price depends on the others."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path

import pytest

from services.glass.domain.plan import plan_blanks
from services.prescription.domain.check import check
from services.process.domain.plan import plan_operations
from services.quoting.pricing.quote import assemble
from shared_schemas.check import Finding
from shared_schemas.load import CentreLoad, LoadSnapshot, OrderLoad
from shared_schemas.quote import QuoteBody
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job, Refusal

DEMO = Path(__file__).parents[3] / "services" / "desk" / "demo" / "lake_ice_lidar.json"


def quoted(rates: Rates, *quantities: int, load: LoadSnapshot | None = None) -> QuoteBody:
    asked = QuoteRequest.model_validate({**json.loads(DEMO.read_text()), "quantities": quantities})
    job = Job(number="Q-2026-000001", attempt=1, request=asked, rate_revision=1, quoted_on=date(2026, 11, 2))
    report = check(job=job, rates=rates)
    assert not isinstance(report, Refusal)
    blanks = plan_blanks(job=job, check=report, rates=rates)
    assert not isinstance(blanks, Refusal)
    operations = plan_operations(job=job, check=report, blanks=blanks, rates=rates)
    assert not isinstance(operations, Refusal)
    return assemble(job=job, check=report, blanks=blanks, operations=operations, rates=rates, rate_digest="x", load=load)


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


def test_a_book_that_holds_little_of_what_it_should_is_spoken_of_with_both_figures(rates: Rates) -> None:
    def book(share: float) -> LoadSnapshot:
        taken = tuple(
            CentreLoad(work_centre=row.name, booked_h=tuple(share * 40.0 * row.stations * (1 - week / 13) for week in range(13)))
            for row in rates.work_centres
        )
        return LoadSnapshot(
            number=1, digest="x", made_at=datetime(2026, 11, 2, tzinfo=UTC), first_week=date(2026, 11, 2),
            orders=(OrderLoad(order="4711", source="the ERP", work_centres=taken),),
        )  # fmt: skip

    def remarks(load: LoadSnapshot | None) -> list[Finding]:
        return [one for one in quoted(rates, 5, load=load).findings if one.code == "book-of-load-thin"]

    (empty,) = remarks(book(0.0))
    assert (empty.severity, empty.figure) == ("care", 0)
    assert "PUT /v1/load" in (empty.remedy or "")
    (thin,) = remarks(book(0.1))
    assert isinstance(thin.figure, float)
    assert isinstance(thin.limit, float)
    assert 0 < thin.figure < thin.limit / 2
    assert thin.limit == empty.limit
    assert remarks(book(0.6)) == []
    assert remarks(None) == []
    careful = rates.model_copy(update={"shop_load": tuple(row.model_copy(update={"booked_share": 0.0}) for row in rates.shop_load)})
    assert not [one for one in quoted(careful, 5, load=book(0.0)).findings if one.code == "book-of-load-thin"]


def test_a_quote_on_rates_that_a_release_added_names_them_until_the_shop_has_a_source_of_its_own(rates: Rates) -> None:
    def remarks(source: str) -> list[Finding]:
        yields = tuple(row.model_copy(update={"source": source}) if row.operation == "bevel" else row for row in rates.yields)
        return [one for one in quoted(rates.model_copy(update={"yields": yields}), 5).findings if one.code == "rates-of-a-release"]

    (remark,) = remarks("added by release 9.9: invented demo figure")
    assert (remark.severity, remark.figure) == ("care", 1)
    assert "bevel of yields" in remark.message
    assert remarks("counted in our shop, 2027") == []
