"""Figures with which there is no answer: each is an error that names the figure, the limit, and what would do."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from pydantic import ValidationError

from services.quoting.costs.money import currency_on
from services.quoting.errors import CurrencyNotOfTheDay
from services.quoting.pricing.starts import start_quantity
from services.quoting.promise.lead_time import shop_of
from services.quoting.service.request_checks import faults_of_request
from services.shop.calendar import WorkingCalendar
from services.shop.errors import NoWorkingDays
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.quote_request import MOST_QUANTITIES
from shared_schemas.rates import CalendarRow, CommercialRow, RateMissing, Rates, StockFormRow, WorkCentreRow, YieldRow
from tests.unit.quoting.conftest import SAID, TERMS, centre, operation, request, week, with_tables
from tests.unit.quoting.test_quoting_assemble import job, quoted

TODAY = date(2026, 11, 2)


def test_a_yield_of_nothing_is_refused_in_the_rates_on_the_route_card_and_in_the_sum() -> None:
    with pytest.raises(ValidationError, match="greater than 0"):
        YieldRow.model_validate({"name": "polish", "operation": "polish", "yield": 0.0, **SAID})
    with pytest.raises(ValidationError, match="greater than 0"):
        operation(**{"yield": 0.0})
    with pytest.raises(FigureOutOfRange, match="yield is 0"):
        start_quantity(wanted=5, yield_share=0.0, confidence=0.9)


def test_certainty_is_refused_at_the_door_and_in_the_sum() -> None:
    with pytest.raises(ValidationError, match="less than 1"):
        request(confidence=1.0)
    with pytest.raises(FigureOutOfRange, match="confidence is 1"):
        start_quantity(wanted=5, yield_share=0.9, confidence=1.0)


def test_a_margin_of_all_the_price_is_refused_in_the_rates() -> None:
    with pytest.raises(ValidationError, match="less than 1"):
        CommercialRow.model_validate({**TERMS.model_dump(), "margin_share": 1.0})


def test_a_currency_without_a_rate_is_refused_at_the_door_and_in_the_sum(rates: Rates, shop_rates: Rates) -> None:
    (fault,) = faults_of_request(request(currency="SEK"), rates=rates, today=TODAY)
    assert fault.pointer == "/currency"
    with pytest.raises(RateMissing, match="SEK"):
        quoted(shop_rates, job=job(currency="SEK"))


def test_a_currency_whose_rate_is_not_for_the_day_is_refused_by_name(rates: Rates, shop_rates: Rates) -> None:
    def dated(one: Rates) -> Rates:
        rows = tuple(row.model_copy(update={"good_for_days": 30} if row.name == "JPY" else {}) for row in one.currencies)
        return one.model_copy(update={"currencies": rows})

    last = date(2026, 12, 2)
    assert currency_on(last, "JPY", dated(shop_rates)).name == "JPY"
    for day in (last + timedelta(days=1), date(2026, 11, 1)):
        with pytest.raises(CurrencyNotOfTheDay, match=f"no JPY for {day}.*from 2026-11-02 for 30 days"):
            currency_on(day, "JPY", dated(shop_rates))
    (fault,) = faults_of_request(request(currency="JPY"), rates=dated(rates), today=date(2027, 1, 4))
    assert (fault.pointer, fault.figure) == ("/currency", "2027-01-04")
    late = job(currency="JPY").model_copy(update={"quoted_on": date(2027, 1, 4)})
    with pytest.raises(CurrencyNotOfTheDay):
        quoted(with_tables(dated(shop_rates), commercial=(TERMS,)), job=late)
    assert currency_on(date(2031, 1, 1), "USD", dated(shop_rates)).name == "USD", "a rate that does not say how long it is good"


def test_a_day_that_is_gone_is_refused(rates: Rates) -> None:
    (fault,) = faults_of_request(request(needed_by="2026-11-01"), rates=rates, today=TODAY)
    assert (fault.pointer, fault.reason, fault.limit) == ("/needed_by", "that day is gone", "2026-11-02")


@pytest.mark.parametrize("rows", [(), tuple(row.model_copy(update={"hours": 0.0}) for row in week())])
def test_a_calendar_without_working_days_is_refused(rows: tuple[CalendarRow, ...], shop_rates: Rates) -> None:
    with pytest.raises(NoWorkingDays, match="no weekday"):
        WorkingCalendar(rows)
    with pytest.raises(NoWorkingDays):
        shop_of(with_tables(shop_rates, calendar=rows), begin=TODAY, more_hours=0.5)


def test_more_quantities_than_twenty_are_refused() -> None:
    assert len(request(quantities=list(range(1, MOST_QUANTITIES + 1))).quantities) == MOST_QUANTITIES == 20
    with pytest.raises(ValidationError, match="at most 20"):
        request(quantities=list(range(1, 22)))


@pytest.mark.parametrize(
    ("shape", "row", "changes", "message"),
    [
        (WorkCentreRow, centre(), {"learning_share": 0.4}, "greater than or equal to 0.5"),
        (WorkCentreRow, centre(), {"learning_share": 1.1}, "less than or equal to 1"),
        (WorkCentreRow, centre(), {"minutes_variation": -0.1}, "greater than or equal to 0"),
        (CommercialRow, TERMS, {"glass_price_variation": -0.1}, "greater than or equal to 0"),
        (CommercialRow, TERMS, {"tooling": "never"}, "'one_off' or 'spread'"),
    ],
)
def test_a_figure_of_the_rates_that_is_none_is_refused(shape: Any, row: Any, changes: dict[str, Any], message: str) -> None:
    with pytest.raises(ValidationError, match=message):
        shape.model_validate({**row.model_dump(), **changes})


def test_a_faster_delivery_without_a_price_is_refused() -> None:
    row = {
        "name": "slab",
        "glass": "N-BK7",
        "form": "slab",
        "prices": [{"from_kg": 0, "price_per_kg": "40"}],
        "lead_days": 10.0,
        **SAID,
    }
    assert StockFormRow.model_validate({**row, "express_lead_days": 4.0, "express_surcharge": 0.5}).express_lead_days == 4
    with pytest.raises(ValidationError, match="both its days and its surcharge"):
        StockFormRow.model_validate({**row, "express_lead_days": 4.0})
