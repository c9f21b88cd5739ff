"""Quoting and orders together, each behind its own door: what is accepted is booked, and the next quote is dated by that book."""

from __future__ import annotations

from datetime import date
from types import SimpleNamespace
from typing import Any

import httpx
import pytest

from services.chassis import between_services
from services.chassis.database import Database
from services.chassis.load_source import HttpLoadSource
from services.orders import stage
from services.orders.api_parts import the_time
from shared_schemas.pipeline import TAKE_OVER_TASK
from shared_schemas.rates import Rates
from tests.integration.test_quoting_handovers import accepted, handed_over
from tests.integration.test_quoting_life_routes import Shop
from tests.integration.test_quoting_pinned_load import one_element

__all__ = ["one_element"]


@pytest.fixture
def shop(database: Database, rates: Rates, monkeypatch: pytest.MonkeyPatch) -> Shop:
    """Both services in one application, which ask each other over HTTP with the key of the suite; the clock moves with each look at it."""
    made = Shop(database, rates, services=("quoting", "orders"))

    def asked(request: httpx.Request) -> httpx.Response:
        answer = made.ask(request.method, request.url.raw_path.decode(), role="service")
        return httpx.Response(answer.status_code, content=answer.content)

    door = httpx.MockTransport(asked)
    minutes = iter(range(0, 10_000_000, 60))
    object.__setattr__(
        made.bench, "load", HttpLoadSource("http://orders", "key", transport=door, clock=lambda: float(next(minutes)))
    )
    monkeypatch.setattr(between_services, "client_of", lambda origin, key: httpx.Client(base_url="http://suite", transport=door))
    object.__setattr__(made.bench, "settings", made.bench.settings.model_copy(update={"orders_url": "http://suite"}))
    made.app.dependency_overrides[the_time] = lambda: made.now
    monkeypatch.setattr(stage, "datetime", SimpleNamespace(now=lambda zone: made.now))
    return made


def answer_the_bell(shop: Shop) -> None:
    """The orders service does what it was rung for."""
    assert [task for task, *_ in shop.bench.rung] == [TAKE_OVER_TASK]
    shop.bench.rung.clear()
    stage.PERIODIC[TAKE_OVER_TASK](shop.bench)


def test_the_hours_of_an_accepted_order_stand_in_the_book_that_the_next_quote_is_dated_by(
    shop: Shop, one_element: dict[str, Any]
) -> None:
    number = shop.quoted(one_element)
    first = shop.get(f"/v1/quotes/{number}")
    why = shop.ask("GET", f"/v1/quotes/{number}/explanation").content
    accepted(shop, number)
    answer_the_bell(shop)
    (entry,) = handed_over(shop)
    snapshot = shop.bench.load.latest()
    assert snapshot is not None
    assert snapshot.number == first["load_snapshot"] + 1
    assert [order.order for order in snapshot.orders] == [number]
    booked = sum(sum(weeks) for weeks in snapshot.booked_h().values())
    assert booked == pytest.approx(sum(one.hours for one in entry.accepted.operations))
    second = shop.get(f"/v1/quotes/{shop.quoted(one_element)}")
    assert second["load_snapshot"] == snapshot.number
    assert date.fromisoformat(ship_date(second)) >= date.fromisoformat(ship_date(first))
    assert shop.ask("GET", f"/v1/quotes/{number}/explanation").content == why


def ship_date(quote: dict[str, Any]) -> str:
    return str(quote["breaks"][0]["lead_time"]["ship_date"])
