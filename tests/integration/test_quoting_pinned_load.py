"""A quote is dated by the book of load that is the newest when it is asked for, and stays so whatever the book says later."""

from __future__ import annotations

import json
from datetime import date, timedelta
from typing import Any

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from services.chassis.database import Database
from services.chassis.load_source import LoadUnavailable
from services.chassis.pipeline import read_section
from services.quoting.stage import TERMINUS
from shared_schemas.load import CentreLoad, LoadSnapshot, OrderLoad
from shared_schemas.pipeline import LAST, STATIONS
from shared_schemas.rates import Rates
from tests.integration.parts import LoadBooks
from tests.integration.test_quoting_life_routes import DEMO, Shop


@pytest.fixture
def shop(database: Database, rates: Rates) -> Shop:
    return Shop(database, rates)


@pytest.fixture
def one_element() -> dict[str, Any]:
    demo = json.loads(DEMO.read_text(encoding="utf-8"))
    lens = demo["prescription"]
    single = {"title": "one element", "wavelength_nm": lens["wavelength_nm"], "elements": lens["elements"][:1], "spaces": []}
    return {**demo, "prescription": single, "quantities": [5], "customer": "Tarn & Fell"}


def full(rates: Rates, weeks: int = 8) -> OrderLoad:
    """An order that takes all the hours of every work centre for some weeks."""
    centres = tuple(
        CentreLoad(work_centre=row.name, booked_h=(40.0 * row.stations * row.shifts,) * weeks)
        for row in sorted(rates.work_centres, key=lambda row: row.name)
    )
    return OrderLoad(order="Q-2026-000999", source="quoting", work_centres=centres)


def ship_date(quote: dict[str, Any]) -> date:
    return date.fromisoformat(quote["breaks"][0]["lead_time"]["ship_date"])


def test_without_a_book_a_quote_is_dated_by_the_usual_load_and_says_so(shop: Shop, one_element: dict[str, Any]) -> None:
    quote = shop.get(f"/v1/quotes/{shop.quoted(one_element)}")
    assert (quote["status"], quote["load_snapshot"]) == ("ready", None)


def test_a_full_book_ships_later_and_the_quote_names_it(shop: Shop, one_element: dict[str, Any], rates: Rates) -> None:
    without = shop.get(f"/v1/quotes/{shop.quoted(one_element)}")
    shop.load.make(full(rates))
    within = shop.get(f"/v1/quotes/{shop.quoted(one_element)}")
    assert within["load_snapshot"] == 1
    assert ship_date(within) > ship_date(without)
    assert within["breaks"][0]["total_price"] == without["breaks"][0]["total_price"]


def test_a_newer_book_changes_no_byte_of_a_quote_nor_of_what_explains_it(
    shop: Shop, one_element: dict[str, Any], rates: Rates
) -> None:
    shop.load.make()
    number = shop.quoted(one_element)
    quote, why = (shop.ask("GET", f"/v1/quotes/{number}{of}").content for of in ("", "/explanation"))
    shop.load.make(full(rates))
    assert shop.ask("GET", f"/v1/quotes/{number}/explanation").content == why
    assert shop.ask("GET", f"/v1/quotes/{number}").content == quote


def test_a_traveller_under_way_is_dated_by_the_book_it_started_with(shop: Shop, one_element: dict[str, Any], rates: Rates) -> None:
    shop.load.make()
    before = shop.get(f"/v1/quotes/{shop.quoted(one_element)}")
    number = shop.ask("POST", "/v1/quotes", json=one_element).json()["number"]
    shop.work(most=2)
    shop.load.make(full(rates))
    shop.work()
    quote = shop.get(f"/v1/quotes/{number}")
    assert quote["load_snapshot"] == 1
    assert quote["breaks"] == before["breaks"]


def test_requotes_and_batches_are_pinned_to_the_newest_book_and_a_comparison_names_both(
    shop: Shop, one_element: dict[str, Any]
) -> None:
    number = shop.quoted(one_element)
    shop.load.make()
    shop.load.make()
    shop.ask("POST", f"/v1/quotes/{number}/requote")
    batch = shop.ask("POST", "/v1/quote-batches", json={"requests": [one_element]})
    shop.work()
    assert shop.get(f"/v1/quotes/{number}")["load_snapshot"] == 2
    (item,) = shop.get(batch.headers["Location"])["items"]
    assert shop.get(f"/v1/quotes/{item['number']}")["load_snapshot"] == 2
    compared = shop.get(f"/v1/quotes/{number}/compare?with=1")
    assert (compared["old"]["load_snapshot"], compared["new"]["load_snapshot"]) == (None, 2)


def test_the_book_of_a_quote_cannot_be_changed_even_by_hand(shop: Shop, one_element: dict[str, Any]) -> None:
    shop.load.make()
    number = shop.ask("POST", "/v1/quotes", json=one_element).json()["number"]
    with pytest.raises(DBAPIError, match="never changed"), shop.bench.database.transaction() as connection:
        connection.execute(text("update quoting.quotes set load_snapshot = 7 where number = :n"), {"n": number})


class AwayFor(LoadBooks):
    """A book that cannot be had so many times."""

    def __init__(self, times: int) -> None:
        super().__init__()
        self.times = times

    def snapshot(self, number: int) -> LoadSnapshot:
        if self.times > 0:
            self.times -= 1
            raise LoadUnavailable("nobody there")
        return super().snapshot(number)


def test_a_pinned_book_that_cannot_be_had_leaves_the_traveller_to_be_tried_again(shop: Shop, one_element: dict[str, Any]) -> None:
    away = AwayFor(times=1)
    away.make()
    object.__setattr__(shop.bench, "load", away)
    number = shop.ask("POST", "/v1/quotes", json=one_element).json()["number"]
    shop.work(most=len(STATIONS) - 1)
    assert [task for task, *_ in shop.bench.rung] == [LAST.task]
    with pytest.raises(LoadUnavailable):
        TERMINUS.arrive(number, 1, shop.bench)
    assert read_section("job", shop.bench.travellers.read(number, 1, ("job",))["job"]).load_snapshot == 1
    shop.work()
    assert shop.get(f"/v1/quotes/{number}")["status"] == "ready"
    away.times, shop.now = 1, shop.now + timedelta(days=1)
    unavailable = shop.ask("GET", f"/v1/quotes/{number}/explanation")
    assert unavailable.status_code == 503
    assert "orders service does not answer" in unavailable.json()["detail"]
