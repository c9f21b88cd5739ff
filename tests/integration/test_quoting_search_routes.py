"""The list of quotes through its route: what a line shows, what a search may say, and pages under filters."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

import pytest

from tests.integration.test_quoting_life_routes import Shop, request_of_two, shop

__all__ = ["request_of_two", "shop"]

SIGNS = "%'\"<"


@pytest.fixture
def quoted(shop: Shop, request_of_two: dict[str, Any]) -> tuple[str, str, str]:
    names = ("Tarn & Fell", f"Müller {SIGNS} GmbH", "Tarn & Fell")
    first, second, third = (
        shop.quoted({**request_of_two, "customer": name, "reference": f"PO {n}", "contact": "Ann Lee"}) for n, name in enumerate(names)
    )  # fmt: skip
    said = {"decision": "accepted", "quantity": 25, "by": "R. Lamb"}
    assert shop.ask("POST", f"/v1/quotes/{first}/decision", json=said).status_code == 200
    return first, second, third


def test_quotes_are_found_by_what_is_known_of_them(shop: Shop, quoted: tuple[str, str, str]) -> None:
    first, second, third = quoted

    def found(query: str) -> list[str]:
        return [one["number"] for one in shop.get(f"/v1/quotes?{query}")["items"]]

    assert found("customer=Nobody") == []
    assert found("customer=tarn") == [third, first]
    assert found("text=" + quote(SIGNS)) == [second]
    assert found("text=muller%20LEE") == [second]
    assert found("text=%20") == [third, second, first]
    assert found("reference=po%202") == [third]
    assert found("glass=nsk5") == [third, second, first]
    assert found("element=l1&state=accepted") == [first]
    assert found("by=the%20sales&created_to=2026-11-02") == [third, second, first]
    assert found("created_from=2026-11-03") == []
    page = shop.get("/v1/quotes?customer=tarn&limit=1")
    assert [one["number"] for one in page["items"]] == [third]
    assert found(f"customer=tarn&limit=1&cursor={page['next']}") == [first]
    assert (
        shop.get("/v1/quotes?customer=tarn", role="engineer")["items"] == shop.get("/v1/quotes?customer=tarn", role="erp")["items"]
    )


def test_a_line_shows_prices_last_day_and_who(shop: Shop, quoted: tuple[str, str, str]) -> None:
    first, second, _ = quoted
    whole = shop.get(f"/v1/quotes/{first}")
    line = next(one for one in shop.get("/v1/quotes")["items"] if one["number"] == first)
    shown = [(one["quantity"], one["unit_price"], one["total_price"]) for one in whole["breaks"]]
    assert [(one["quantity"], one["unit_price"], one["total_price"]) for one in line["prices"]] == shown
    assert (line["currency"], line["valid_until"], line["asked_by"]) == (whole["currency"], whole["valid_until"], "the sales")
    assert (line["decided_by"], line["state"]) == ("R. Lamb", "accepted")
    total = shown[1][2]
    within = shop.get(f"/v1/quotes?currency=USD&price_from={total}&price_to={total}")["items"]
    assert first in [one["number"] for one in within], "bounds are within the range"
    assert shop.get("/v1/quotes?currency=EUR&price_from=0")["items"] == []
    open_line = next(one for one in shop.get("/v1/quotes")["items"] if one["number"] == second)
    assert "decided_by" not in open_line


@pytest.mark.parametrize(
    ("query", "pointer"),
    [
        ("price_from=10", "/query/price_from"),
        ("currency=USD&price_from=10&price_to=9", "/query/price_from"),
        ("created_from=2026-11-02&created_to=2026-11-01", "/query/created_from"),
        ("within_days=7", "/query/within_days"),
        ("follow_up=soon", "/query/follow_up"),
        ("price_from=cheap&currency=USD", "/query/price_from"),
        ("currency=usd", "/query/currency"),
        ("text=a%00b", "/query/text"),
        ("created_to=9999-12-32", "/query/created_to"),
    ],
)
def test_a_search_that_cannot_be_is_told_where(shop: Shop, query: str, pointer: str) -> None:
    answer = shop.ask("GET", f"/v1/quotes?{query}")
    assert answer.status_code == 422, answer.text
    assert pointer in [error["pointer"] for error in answer.json()["errors"]]


def test_the_last_day_there_is_can_be_asked_for(shop: Shop, quoted: tuple[str, str, str]) -> None:
    assert len(shop.get("/v1/quotes?created_to=9999-12-31&valid_to=9999-12-31&created_from=0001-01-01")["items"]) == 3
    assert shop.ask("GET", "/v1/quotes?customers=x").status_code == 422
