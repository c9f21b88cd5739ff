"""The win rate on a real PostgreSQL: a quote counts once, by the revision that decides, and again when it is decided otherwise."""

from __future__ import annotations

import json
from datetime import date, timedelta
from typing import Any

import pytest
from sqlalchemy import text

from services.chassis.database import Database
from services.quoting.store.blocks import may_repack
from services.quoting.store.life import LifeStore
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import Decision, Outcome
from shared_schemas.rates import Rates
from tests.integration.test_quoting_life_routes import Shop
from tests.integration.test_quoting_life_store import NEW, NOW

PRICES = {5: "250.00", 25: "180.00", 100: "150.00"}
BODY = json.dumps(
    {"breaks": [{"quantity": many, "unit_price": price, "unit_cost": {"planned": "100.00"}} for many, price in PRICES.items()]}
).encode()
READY = Outcome("ready", "d1", body=BODY, valid_until=date(2026, 11, 20))


@pytest.fixture
def shop(database: Database, rates: Rates) -> Shop:
    return Shop(database, rates)


def quoted(database: Database) -> str:
    store = QuoteStore(database)
    begun, _ = store.accept(NEW, None, now=NOW)
    store.runs.settle(begun.number, 1, READY, now=NOW)
    return begun.quote_number


def decided(database: Database, row: str, decision: str, quantity: int | None = None, reason: str | None = None) -> None:
    LifeStore(database).decide(row, Decision(decision, quantity, "R. Lindqvist", "", "key", NOW, reason=reason))


def read(shop: Shop, query: str = "", role: str = "sales") -> dict[str, Any]:
    answer = shop.ask("GET", f"/v1/win-rate{query}", role=role)
    assert answer.status_code == 200, answer.text
    document: dict[str, Any] = answer.json()
    return document


def bands(found: dict[str, Any]) -> dict[str, tuple[int, int]]:
    return {one["name"]: (one["accepted"], one["decided"]) for one in found["by_markup"]}


def test_a_quote_counts_once_by_the_revision_that_decides(shop: Shop, database: Database) -> None:
    first, second, third = (quoted(database) for _ in range(3))
    decided(database, first, "accepted", 5)
    decided(database, second, "declined", reason="price")
    found = read(shop)
    assert (found["whole"]["decided"], found["open"], found["unread"]) == (2, 1, 0)
    assert bands(found) == {"150 to 160 %": (1, 1), "80 to 90 %": (0, 1)}
    assert found["whole"]["declined_because"] == {"price": 1}
    # What was declined goes on to another revision: until that is decided the quote is open, then it counts by that.
    begun, _ = LifeStore(database).add_revision(second, NEW, None, after=1, now=NOW)
    assert (read(shop)["whole"]["decided"], read(shop)["open"]) == (1, 2)
    QuoteStore(database).runs.settle(begun.number, 1, READY, now=NOW)
    decided(database, begun.number, "accepted", 100)
    assert bands(read(shop)) == {"150 to 160 %": (1, 1), "50 to 60 %": (1, 1)}
    assert third in shop.ask("GET", "/v1/quotes?state=open").text


def test_what_expired_is_decided_after_its_last_day_and_counts_anew_when_it_is_accepted_late(
    shop: Shop, database: Database
) -> None:
    number = quoted(database)
    assert read(shop)["open"] == 1
    shop.now += timedelta(days=19)
    found = read(shop)
    assert (found["whole"]["expired"], found["open"], bands(found)) == (1, 0, {"80 to 90 %": (0, 1)})
    assert found["by_month"][0]["name"] == "2026-11"
    decided(database, number, "accepted", 100)
    assert bands(read(shop)) == {"50 to 60 %": (1, 1)}


def test_a_quote_whose_documents_are_archived_counts_without_its_band(shop: Shop, database: Database) -> None:
    decided(database, quoted(database), "accepted", 5)
    decided(database, quoted(database), "accepted", 5)
    with database.transaction() as connection:
        may_repack(connection)
        connection.execute(text("update quoting.outcomes set archived_in = 'a', packing = null, packed = null where number = (select min(number) from quoting.outcomes)"))  # fmt: skip
    found = read(shop)
    assert (found["whole"]["accepted"], found["without_markup"], bands(found)) == (2, 1, {"150 to 160 %": (1, 1)})


def test_it_is_read_by_sales_and_engineers_as_document_table_and_chart(shop: Shop, database: Database) -> None:
    decided(database, quoted(database), "accepted", 5)
    assert shop.ask("GET", "/v1/win-rate", role="erp").status_code == 403
    assert read(shop, role="engineer") == read(shop)
    table = shop.ask("GET", "/v1/win-rate", headers={"Accept": "text/csv"})
    assert "markup,150 to 160 %,1,1,0,0,1.0," in table.text
    for chart in ("markup", "customer", "month"):
        drawn = shop.ask("GET", f"/v1/win-rate?chart={chart}", headers={"Accept": "image/svg+xml"})
        assert (drawn.status_code, drawn.headers["Content-Type"]) == (200, "image/svg+xml")
    assert shop.ask("GET", "/v1/win-rate", headers={"Accept": "text/html"}).status_code == 406
    assert shop.ask("GET", "/v1/win-rate?since=yesterday").status_code == 422
    assert read(shop, "?since=2026-11-03")["whole"]["decided"] == 0
