"""The readiness of the rates through its route, on a real PostgreSQL: by the open book, by some quotes, and by the rows of today."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from sqlalchemy import text

from shared_schemas.rates import Rates
from tests.integration.test_quoting_life_routes import Shop, request_of_two, shop

__all__ = ["request_of_two", "shop"]
READINESS = "/v1/rates/readiness"


def test_the_open_book_says_what_rests_on_invented_rows_until_they_are_the_shops_own(
    shop: Shop, request_of_two: dict[str, Any], rates: Rates
) -> None:
    first, second = shop.quoted(request_of_two), shop.quoted(request_of_two)
    ready = shop.ask("GET", READINESS, role="engineer")
    assert ready.status_code == 200, ready.text
    found = ready.json()
    one = shop.ask("GET", f"{READINESS}?quote={first}", role="engineer").json()
    assert (found["quotes"], found["quotes_untold"], one["quotes"]) == (2, 0, 1)
    assert Decimal(found["total"]) == 2 * Decimal(one["total"]) > 0
    assert sum(Decimal(part["money"]) for part in found["by_origin"]) == Decimal(found["total"])
    assert found["rows"][0]["table"] == "commercial"
    told = next(one for one in shop.get(f"/v1/quotes/{first}")["findings"] if one["code"] == "rests-on-invented-rates")
    assert abs(told["figure"] - one["by_origin"][0]["share"]) < 1e-3
    terms = tuple(row.model_copy(update={"origin": "measured"}) for row in rates.commercial)
    shop.book.publish(rates.model_copy(update={"commercial": terms}))
    better = shop.ask("GET", READINESS, role="engineer").json()
    assert (better["rate_revision"], better["total"]) == (2, found["total"])
    assert better["by_origin"][0]["share"] < found["by_origin"][0]["share"]
    shop.ask("POST", f"/v1/quotes/{second}/decision", json={"decision": "declined", "by": "x"})
    assert shop.ask("GET", READINESS, role="engineer").json()["quotes"] == 1


def test_a_quote_of_before_is_counted_and_one_that_there_is_not_is_named(shop: Shop, request_of_two: dict[str, Any]) -> None:
    shop.quoted(request_of_two)
    with shop.bench.database.transaction() as connection:
        connection.execute(text("set local quoting.repacking = 'on'"))
        connection.execute(text("update quoting.outcomes set rests_on = null"))
    found = shop.ask("GET", READINESS, role="engineer").json()
    assert (found["quotes"], found["quotes_untold"], Decimal(found["total"]), found["rows"]) == (0, 1, 0, [])
    assert sum(one["invented"] for one in found["unused"]) > 600
    refused = shop.ask("GET", f"{READINESS}?quote=Q-1999-000001", role="engineer")
    assert (refused.status_code, refused.json()["errors"][0]["figure"]) == (422, "Q-1999-000001")
    assert shop.ask("GET", READINESS, role="sales").status_code == 403
