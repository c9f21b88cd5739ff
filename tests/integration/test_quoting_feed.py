"""The feed of estimates: every event once and in its order, whoever writes and reads meanwhile, and the same bytes whenever it is read."""

from __future__ import annotations

import json
import threading
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from services.chassis.database import Database
from services.quoting.store.batches import BatchStore
from services.quoting.store.feed import Feed
from services.quoting.store.life import LifeStore
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import Decision
from shared_schemas.estimate_feed import EstimatePage
from shared_schemas.rates import Rates
from tests.integration.test_quoting_life_routes import NOON, Shop, request_of_two
from tests.integration.test_quoting_life_store import NEW, NOW, READY, at_once

__all__ = ["request_of_two"]

WRITERS, ORDERS = 4, 220


@pytest.fixture
def shop(database: Database, rates: Rates) -> Shop:
    return Shop(database, rates)


def ready(database: Database, count: int = 1) -> list[str]:
    """Numbers of ready quotes, without figures."""
    store = QuoteStore(database)
    batches = BatchStore(database)
    numbers = batches.numbers(batches.accept([NEW] * count, None, now=NOW)[0])
    for number in numbers:
        store.runs.settle(number, 1, READY, now=NOW)
    return list(numbers)


def requoted(database: Database, number: str, revision: int = 2) -> str:
    """The next revision of a quote, ready."""
    begun, _ = LifeStore(database).add_revision(number, NEW, None, after=revision - 1, now=NOW)
    QuoteStore(database).runs.settle(begun.number, 1, READY, now=NOW)
    return begun.number


def accepted() -> Decision:
    return Decision("accepted", 5, "x", "", "key", NOW, purchase_order="PO 7")


def declined() -> Decision:
    return Decision("declined", None, "x", "", "key", NOW, reason="price")


def page(shop: Shop, query: str = "", **headers: str) -> dict[str, Any]:
    answer = shop.ask("GET", f"/v1/estimates?{query}", role="erp", headers=headers)
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


def told(shop: Shop) -> list[tuple[str, int, str | None]]:
    """Type, revision and decision of every entry."""
    items = page(shop)["items"]
    return [(one["type"], one["revision"], one["decision"] and one["decision"]["decision"]) for one in items]


def test_a_poller_sees_220_acceptances_by_four_writers_once_each_and_in_their_order(shop: Shop, database: Database) -> None:
    numbers = ready(database, ORDERS)
    life = LifeStore(database)

    def write(place: int) -> None:
        for number in numbers[place::WRITERS]:
            life.decide(number, accepted())

    writing = threading.Thread(target=at_once, args=(WRITERS, write))
    writing.start()
    seen: list[dict[str, Any]] = []
    after, is_last = "", False
    while not is_last:
        is_over = not writing.is_alive()
        got = page(shop, f"limit=70&{after}")
        seen += got["items"]
        after = f"after={got['next']}" if got["next"] else ""
        is_last = is_over and not got["items"]
    orders = [one["number"] for one in seen if one["decision"]]
    assert sorted(orders) == sorted(number.replace("Q", "E", 1) for number in numbers), "none missing, none doubled"
    assert [one["id"] for one in seen] == sorted({one["id"] for one in seen})
    assert [one["decision"] for one in seen if one["type"] == "ready"] == [None] * ORDERS, "as it was when it became ready"
    again = page(shop, "limit=70")["items"] + page(shop, f"limit=70&after={page(shop, 'limit=70')['next']}")["items"]
    assert again == seen[: len(again)], "read again it is the same"


def test_whatever_happens_to_a_quote_is_an_entry_with_the_decision_of_that_moment(shop: Shop, database: Database) -> None:
    (first,) = ready(database)
    second = requoted(database, first)
    LifeStore(database).decide(second, declined())
    requoted(database, first, 3)
    assert told(shop) == [
        ("ready", 1, None),
        ("ready", 2, None),
        ("superseded", 1, None),
        ("declined", 2, "declined"),
        ("ready", 3, None),
    ]
    assert page(shop, "type=declined")["items"][0]["decision"]["reason"] == "price"


def test_a_decision_that_was_told_again_is_no_second_entry(shop: Shop, database: Database) -> None:
    (number,) = ready(database)
    at_once(WRITERS, lambda _: LifeStore(database).decide(number, accepted()))
    assert told(shop) == [("ready", 1, None), ("accepted", 1, "accepted")]
    assert page(shop)["items"][1]["decision"]["purchase_order"] == "PO 7"


def test_a_quote_expires_once_and_only_if_nothing_has_become_of_it(shop: Shop, database: Database) -> None:
    alone, ordered, other = ready(database, 3)
    LifeStore(database).decide(ordered, accepted())
    last = READY.valid_until
    assert last is not None
    assert Feed(database).expire(today=last, at=NOON) == 0
    after = page(shop)["next"]
    for _ in range(2):
        Feed(database).expire(today=last + timedelta(days=1), at=NOON)
    found = page(shop, f"after={after}")["items"]
    assert [(one["type"], one["number"]) for one in found] == [("expired", n.replace("Q", "E", 1)) for n in (alone, other)]


def test_pages_name_the_next_and_can_be_asked_for_by_type_and_moment(shop: Shop, database: Database) -> None:
    for number in ready(database, 3):
        LifeStore(database).decide(number, accepted())
    answer = shop.ask("GET", "/v1/estimates?type=accepted&type=declined&limit=2&since=2026-01-01T00:00:00Z", role="erp")
    assert [one["type"] for one in EstimatePage.model_validate_json(answer.content).model_dump()["items"]] == ["accepted"] * 2
    following = shop.ask("GET", answer.links["next"]["url"], role="erp")
    assert ([one["type"] for one in following.json()["items"]], following.links) == (["accepted"], {})
    assert page(shop, "since=2027-01-01T00:00:00%2B01:00")["items"] == []


def test_who_has_a_page_is_told_so_until_something_happens(shop: Shop, database: Database) -> None:
    (number,) = ready(database)
    first = shop.ask("GET", "/v1/estimates", role="erp")
    head = shop.ask("HEAD", "/v1/estimates", role="erp")
    assert (head.status_code, head.content, head.headers["ETag"]) == (200, b"", first.headers["ETag"])
    known = {"If-None-Match": first.headers["ETag"]}
    again = shop.ask("GET", "/v1/estimates", role="erp", headers=known)
    assert (again.status_code, again.content) == (304, b"")
    LifeStore(database).decide(number, accepted())
    grown = shop.ask("GET", "/v1/estimates", role="erp", headers=known)
    assert (grown.status_code, grown.content[: len(first.content) - 60]) == (200, first.content[:-60])


@pytest.mark.parametrize("query", ["type=sold", "since=yesterday", "since=2026-01-01T00:00:00", "from=3", "limit=0", "after=x"])
def test_what_cannot_be_asked_of_the_feed_is_named(shop: Shop, query: str) -> None:
    answer = shop.ask("GET", f"/v1/estimates?{query}", role="erp")
    assert answer.status_code == 422
    assert answer.json()["errors"]


def test_a_cursor_beyond_all_that_happened_is_of_no_page(shop: Shop, database: Database) -> None:
    ready(database, 2)
    cursor = page(shop)["next"]
    with database.transaction() as connection:
        connection.execute(text("alter table quoting.feed_entries disable trigger feed_entries_stand"))
        connection.execute(
            text("delete from quoting.feed_entries where position = (select max(position) from quoting.feed_entries)")
        )
        connection.execute(text("alter table quoting.feed_entries enable trigger feed_entries_stand"))
    answer = shop.ask("GET", f"/v1/estimates?after={cursor}", role="erp")
    assert (answer.status_code, "no page of this feed" in answer.json()["detail"]) == (410, True)


def test_who_would_wait_is_answered_as_soon_as_something_happens(shop: Shop, database: Database) -> None:
    (number,) = ready(database)
    after = f"after={page(shop)['next']}"
    deciding = threading.Timer(0.1, lambda: LifeStore(database).decide(number, accepted()))
    deciding.start()
    answer = shop.ask("GET", f"/v1/estimates?{after}", role="erp", headers={"Prefer": "wait=30"})
    deciding.join()
    assert [one["type"] for one in answer.json()["items"]] == ["accepted"]
    assert answer.headers["Preference-Applied"] == "wait=30"


def test_an_entry_cannot_be_changed_even_by_hand(database: Database) -> None:
    ready(database)
    for statement in ("update quoting.feed_entries set document = 'x'", "delete from quoting.feed_entries"):
        with pytest.raises(DBAPIError, match="never changed"), database.transaction() as connection:
            connection.execute(text(statement))


def test_after_the_last_day_an_acceptance_says_that_the_prices_hold(shop: Shop, request_of_two: dict[str, Any]) -> None:
    number = shop.quoted(request_of_two)
    shop.now += timedelta(days=400)
    order = {"decision": "accepted", "quantity": 5, "by": "x", "purchase_order": "PO 8", "needed_by": "2028-02-01"}
    refused = shop.ask("POST", f"/v1/quotes/{number}/decision", json=order)
    assert (refused.status_code, "confirm_expired" in refused.json()["detail"]) == (409, True)
    taken = shop.ask("POST", f"/v1/quotes/{number}/decision", json=order | {"confirm_expired": True}).json()
    assert (taken["late"], taken["purchase_order"], taken["needed_by"]) == (True, "PO 8", "2028-02-01")
    assert taken["promised"]["ship_date"] > shop.now.date().isoformat()
    assert page(shop)["items"][-1]["decision"] == taken
    other = shop.ask("POST", f"/v1/quotes/{number}/decision", json=order | {"confirm_expired": True, "purchase_order": "PO 9"})
    assert other.status_code == 409


def test_a_decline_says_why_and_an_order_does_not(shop: Shop, request_of_two: dict[str, Any]) -> None:
    number = shop.quoted(request_of_two)
    place = f"/v1/quotes/{number}/decision"
    decline = {"decision": "declined", "by": "x", "reason": "lost_to_other", "note": "two weeks sooner elsewhere"}
    for wrong, where in (
        (decline | {"reason": "weather"}, "/reason"),
        (decline | {"purchase_order": "PO 1"}, "/purchase_order"),
        (decline | {"decision": "accepted", "quantity": 5}, "/reason"),
    ):
        answer = shop.ask("POST", place, json=wrong)
        assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, where), json.dumps(wrong)
    assert shop.ask("POST", place, json=decline).json()["reason"] == "lost_to_other"
