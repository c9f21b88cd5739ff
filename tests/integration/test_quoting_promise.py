"""The promise: the earliest days against the book of today, of a quote that stays as it is."""

from __future__ import annotations

import json
from datetime import date, timedelta
from typing import Any

import pytest

from shared_schemas.rates import Rates
from tests.integration.test_quoting_handovers import Shop, accepted, number, one_element, shop
from tests.integration.test_quoting_pinned_load import full

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


def test_a_promise_is_of_today_and_of_the_newest_book_whatever_the_quote_was_dated_by(
    shop: Shop, number: str, rates: Rates
) -> None:
    quote = shop.ask("GET", f"/v1/quotes/{number}").json()
    first = promised(shop, number, quantity=5)
    assert (first["ordered_on"], first["load_snapshot"], first["currency"]) == (shop.now.date().isoformat(), 1, quote["currency"])
    assert first["days"]["p90"] == first["quoted_ship_date"]
    shop.now += timedelta(days=10)
    later = promised(shop, number, quantity=5)
    assert later["ordered_on"] == shop.now.date().isoformat()
    assert later["days"]["p50"] > first["days"]["p50"]
    assert later["quoted_ship_date"] == first["quoted_ship_date"]
    shop.load.make(full(rates))
    fuller = promised(shop, number, quantity=5)
    assert fuller["load_snapshot"] == 2
    assert fuller["days"]["p90"] > later["days"]["p90"]


def test_a_promise_is_the_day_that_an_acceptance_then_keeps(shop: Shop, number: str, rates: Rates) -> None:
    shop.load.make(full(rates))
    days = promised(shop, number, quantity=5)["days"]
    assert accepted(shop, number)["promised"]["days"] == days


def test_a_promise_is_at_the_rates_of_its_quote(shop: Shop, number: str, rates: Rates) -> None:
    before = promised(shop, number, quantity=5)
    slower = [row.model_copy(update={"stations": 1, "shifts": 1}) for row in rates.work_centres]
    shop.book.publish(rates.model_copy(update={"work_centres": tuple(slower), "shop_load": ()}))
    assert promised(shop, number, quantity=5) == before


def test_an_earlier_revision_may_be_asked_for_and_an_unknown_one_is_named(shop: Shop, number: str) -> None:
    assert promised(shop, number, quantity=5, revision=1)["revision"] == 1
    assert promised(shop, number, 404, quantity=5, revision=9)["detail"] == (
        f"The quote {number} has no revision 9; its latest is 1."
    )


def test_a_quote_without_figures_has_no_promise_and_its_reasons_are_told(shop: Shop, one_element: dict[str, Any]) -> None:
    under_way = shop.ask("POST", "/v1/quotes", json=one_element).json()["number"]
    assert "it is under way" in promised(shop, under_way, 404, quantity=5)["detail"]
    knife = json.loads(json.dumps(one_element))
    knife["prescription"]["elements"][0]["centre_thickness_mm"] = 0.5
    refused = shop.quoted(knife)
    problem = shop.get(f"/v1/quotes/{refused}")["problem"]
    told = promised(shop, refused, 404, quantity=5)
    assert "it is refused" in told["detail"]
    assert told["errors"] == problem["errors"] != []


@pytest.mark.parametrize(
    ("asked", "pointer"),
    [
        ({"quantity": 100_001}, "/quantity"),
        ({"quantity": 2.5}, "/quantity"),
        ({"quantity": 5, "revision": 0}, "/revision"),
        ({"quantity": 5, "deliveries": [{"quantity": 0}, {"quantity": 5}]}, "/deliveries/0/quantity"),
        ({"quantity": 5, "deliveries": [{"quantity": 5, "by": "soon"}]}, "/deliveries/0/by"),
        ({"quantity": 21, "deliveries": [{"quantity": 1}] * 21}, "/deliveries"),
        ({"quantity": 5, "by": "2027-01-01"}, "/by"),
    ],
)
def test_what_cannot_be_asked_for_is_named_by_its_pointer(shop: Shop, number: str, asked: dict[str, Any], pointer: str) -> None:
    assert [one["pointer"] for one in promised(shop, number, 422, **asked)["errors"]] == [pointer]


def test_a_delivery_wanted_today_is_no_day_that_is_gone(shop: Shop, number: str) -> None:
    (whole,) = promised(shop, number, quantity=5, deliveries=[{"quantity": 5, "by": shop.now.date().isoformat()}])["deliveries"]
    assert (whole["in_time"], whole["price_effect"]) == ("no", "0.00")
