"""What is under way can be cancelled: it ends there, nothing of it comes later, and what was before stands. And what is too much is refused."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from services.chassis.database import Database
from services.quoting.store.repository import QuoteStore
from shared_schemas.rates import Rates
from tests.integration.test_quoting_impact_routes import IMPACT, ProposingBook, asked, dearer, read
from tests.integration.test_quoting_life_routes import Shop, request_of_two

__all__ = ["request_of_two"]


@pytest.fixture
def shop(database: Database, rates: Rates) -> Shop:
    made = Shop(database, rates)
    made.book = ProposingBook(rates)
    object.__setattr__(made.bench, "rates", made.book)
    return made


def test_a_cancelled_quote_is_told_as_such_and_its_late_outcome_counts_for_nothing(
    shop: Shop, request_of_two: dict[str, Any]
) -> None:
    number = shop.ask("POST", "/v1/quotes", json=request_of_two).json()["number"]
    shop.work(most=2)
    late = list(shop.bench.rung)
    sections = shop.bench.travellers.read(number, 1, ("job", "check", "blanks"))
    answer = shop.ask("DELETE", f"/v1/quotes/{number}")
    assert (answer.status_code, answer.json()["status"]) == (200, "cancelled"), answer.text
    assert answer.json()["problem"]["type"] == "/problems#cancelled"
    assert "the sales" in answer.json()["problem"]["detail"], "who did it"
    shop.bench.travellers.stamp(number, 1, sections)
    shop.bench.rung[:] = late
    shop.work()
    assert shop.get(f"/v1/quotes/{number}")["status"] == "cancelled"
    assert [kind for kind, _, _ in QuoteStore(shop.bench.database).events(number)] == ["cancelled"]
    assert shop.ask("DELETE", f"/v1/quotes/{number}").status_code == 200, "told twice, it is the same"
    assert [one["number"] for one in shop.get("/v1/quotes?status=cancelled")["items"]] == [number]


def test_what_has_its_outcome_is_not_cancelled(shop: Shop, request_of_two: dict[str, Any]) -> None:
    number = shop.quoted(request_of_two)
    answer = shop.ask("DELETE", f"/v1/quotes/{number}")
    assert (answer.status_code, answer.json()["type"]) == (409, "/problems#conflict")
    assert "is ready" in answer.json()["detail"]
    assert shop.ask("DELETE", "/v1/quotes/Q-1999-000001").status_code == 404
    assert shop.ask("DELETE", f"/v1/quotes/{number}", role="erp").status_code == 403


def test_after_a_cancelled_revision_the_one_before_stands_and_another_may_follow(
    shop: Shop, request_of_two: dict[str, Any]
) -> None:
    number = shop.quoted(request_of_two)
    first = shop.get(f"/v1/quotes/{number}")
    assert shop.ask("POST", f"/v1/quotes/{number}/requote").json()["revision"] == 2
    assert shop.ask("DELETE", f"/v1/quotes/{number}").json()["revision"] == 2
    assert shop.get(f"/v1/quotes/{number}") == first
    assert [one["revision"] for one in shop.get("/v1/quotes?state=open")["items"]] == [1]
    assert shop.ask("POST", f"/v1/quotes/{number}/requote").json()["revision"] == 3
    shop.work()
    again = shop.get(f"/v1/quotes/{number}")
    assert (again["revision"], again["latest_revision"], again["status"]) == (3, 3, "ready")


def test_a_cancelled_batch_keeps_what_is_done(shop: Shop, request_of_two: dict[str, Any]) -> None:
    requests = [{**request_of_two, "customer": f"{n}"} for n in range(7)]
    place = shop.ask("POST", "/v1/quote-batches", json={"requests": requests}).headers["Location"]
    while not shop.get(place)["counts"]["ready"]:
        shop.work(most=1)
    answer = shop.ask("DELETE", place)
    assert answer.status_code == 200
    assert answer.json()["counts"] == {"in_work": 0, "ready": 1, "refused": 0, "failed": 0, "cancelled": 6}
    shop.work()
    assert shop.get(place)["counts"]["ready"] == 1
    assert shop.ask("DELETE", "/v1/quote-batches/B-1999-000001").status_code == 404


def test_a_cancelled_impact_holds_no_more_quotes_against_its_table(
    shop: Shop, request_of_two: dict[str, Any], rates: Rates
) -> None:
    for n in range(6):
        shop.quoted({**request_of_two, "quantities": [5], "customer": f"{n}"})
    number = asked(shop, dearer(rates))
    answer = shop.ask("DELETE", f"{IMPACT}/{number}", role="engineer")
    assert (answer.status_code, answer.json()["status"], answer.json()["counts"]["cancelled"]) == (200, "done", 6)
    shop.work()
    assert read(shop, number)["counts"]["ready"] == 0
    assert shop.ask("DELETE", f"{IMPACT}/{number}").status_code == 403


def test_more_work_than_one_quote_may_be_is_refused_and_told_what_would_do(shop: Shop, request_of_two: dict[str, Any]) -> None:
    lens = request_of_two["prescription"]
    element = lens["elements"][0]
    bomb = copy.deepcopy(request_of_two)
    bomb["prescription"]["elements"] = [{**element, "name": f"L{n}"} for n in range(40)]
    bomb["prescription"]["spaces"] = [{"gap_mm": 30.0}] * 39
    bomb["quantities"] = list(range(1, 21))
    answer = shop.ask("POST", "/v1/quotes", json=bomb)
    assert (answer.status_code, answer.json()["type"]) == (422, "/problems#too-much-work"), answer.text
    by_pointer = {error["pointer"]: error for error in answer.json()["errors"]}
    assert set(by_pointer) == {"/quantities", "/prescription/elements"}
    fit = by_pointer["/quantities"]["limit"]
    batch = shop.ask("POST", "/v1/quote-batches", json={"requests": [request_of_two, bomb]})
    assert {error["pointer"] for error in batch.json()["errors"]} == {"/requests/1/quantities", "/requests/1/prescription/elements"}
    assert shop.bench.rung == []
    bomb["quantities"] = bomb["quantities"][:fit]
    assert shop.ask("POST", "/v1/quotes", json=bomb).status_code == 202, "what the answer says would do, does"
