"""The promise: the earliest days against the book of today, of a quote that stays as it is."""

from __future__ import annotations

from datetime import date
from typing import Any

from tests.integration.test_quoting_handovers import Shop, number, one_element, shop

__all__ = ["number", "one_element", "shop"]


def promised(shop: Shop, number: str, status: int = 200, **asked: Any) -> dict[str, Any]:
    answer = shop.ask("POST", f"/v1/quotes/{number}/promise", json=asked)
    assert answer.status_code == status, answer.text
    document: dict[str, Any] = answer.json()
    return document


def test_a_promise_tells_the_days_and_leaves_the_quote_as_it_is(shop: Shop, number: str) -> None:
    before = shop.ask("GET", f"/v1/quotes/{number}").content
    found = promised(shop, number, quantity=5)
    assert found["days"]["p50"] <= found["days"]["p80"] <= found["days"]["p90"]
    assert found["quoted_ship_date"] == shop.get(f"/v1/quotes/{number}")["breaks"][0]["lead_time"]["ship_date"]
    assert found["lead_time"]["decided_by"]
    assert shop.ask("GET", f"/v1/quotes/{number}").content == before


def test_any_quantity_may_be_asked_for_and_fewer_are_never_later(shop: Shop, number: str) -> None:
    days = [date.fromisoformat(promised(shop, number, quantity=many)["days"]["p50"]) for many in (1, 7, 60)]
    assert days == sorted(days)
    assert promised(shop, number, quantity=7)["quoted_ship_date"] is None


def test_deliveries_are_dated_one_by_one(shop: Shop, number: str) -> None:
    found = promised(shop, number, quantity=5, deliveries=[{"quantity": 2, "by": "2099-01-01"}, {"quantity": 3}])
    assert [one["quantity"] for one in found["deliveries"]] == [2, 3]
    assert found["deliveries"][0]["in_time"] == "of_one_lot"


def test_deliveries_that_do_not_add_up_and_days_that_are_gone_are_named(shop: Shop, number: str) -> None:
    short = promised(shop, number, 422, quantity=5, deliveries=[{"quantity": 2}, {"quantity": 2}])
    assert short["errors"][0]["pointer"] == "/deliveries"
    assert "4 pieces together, and 5 are ordered" in short["errors"][0]["reason"]
    gone = promised(shop, number, 422, quantity=5, deliveries=[{"quantity": 2}, {"quantity": 3, "by": "2020-01-01"}])
    assert (gone["errors"][0]["pointer"], gone["errors"][0]["reason"]) == ("/deliveries/1/by", "that day is gone")
    assert promised(shop, number, 422, quantity=0)["errors"][0]["pointer"] == "/quantity"
    assert shop.ask("POST", "/v1/quotes/Q-2026-999999/promise", json={"quantity": 1}).status_code == 404
    assert shop.ask("POST", f"/v1/quotes/{number}/promise", json={"quantity": 1}, role="erp").status_code == 403
