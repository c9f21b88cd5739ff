"""An acceptance: the date worked out again against the book of that day, and one order handed over, whatever comes between."""

from __future__ import annotations

import threading
from datetime import date, timedelta
from typing import Any

import pytest
from sqlalchemy import Connection, text
from sqlalchemy.exc import DBAPIError

import services.quoting.store.life as life_store
from services.chassis.database import Database
from services.quoting.service.life import decide
from services.quoting.store.handovers import Handovers
from services.quoting.store.life import LifeStore
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import Decision
from services.quoting.store.runs import note_event
from shared_schemas.load import Handover, HandoverPage
from shared_schemas.pipeline import TAKE_OVER_TASK
from shared_schemas.quote import QuoteDecision
from shared_schemas.quote_life import DecisionRequest
from shared_schemas.rates import Rates
from tests.integration.test_quoting_life_routes import Bench, Shop
from tests.integration.test_quoting_life_store import NEW, NOW, READY, at_once
from tests.integration.test_quoting_pinned_load import full, one_element

__all__ = ["one_element"]
ORDER = {"decision": "accepted", "quantity": 5, "by": "R. Lindqvist"}


@pytest.fixture
def shop(database: Database, rates: Rates) -> Shop:
    return Shop(database, rates)


@pytest.fixture
def number(shop: Shop, one_element: dict[str, Any]) -> str:
    """Number of a ready quote that was dated by an empty book."""
    shop.load.make()
    return shop.quoted(one_element)


def accepted(shop: Shop, number: str, **changes: Any) -> dict[str, Any]:
    answer = shop.ask("POST", f"/v1/quotes/{number}/decision", json=ORDER | changes)
    assert answer.status_code == 200, answer.text
    document: dict[str, Any] = answer.json()
    return document


def handed_over(shop: Shop, after: int = 0) -> tuple[Handover, ...]:
    page = shop.ask("GET", f"/v1/handovers?after={after}", role="service")
    assert page.status_code == 200, page.text
    return HandoverPage.model_validate_json(page.content).items


def test_an_acceptance_hands_over_the_order_with_the_hours_it_takes(shop: Shop, number: str, one_element: dict[str, Any]) -> None:
    quote = shop.get(f"/v1/quotes/{number}")
    decision = accepted(shop, number)
    (entry,) = handed_over(shop)
    order = entry.accepted
    assert (order.quote_number, order.revision, order.quantity, order.customer) == (number, 1, 5, "Tarn & Fell")
    assert order.title == "one element"
    assert order.accepted_at == shop.now
    assert order.load_snapshot == 1
    assert order.quoted_ship_date == date.fromisoformat(quote["breaks"][0]["lead_time"]["ship_date"])
    assert order.ship_date == date.fromisoformat(decision["promised"]["ship_date"])
    routed = [one["operation"] for part in (*quote["elements"], *quote["assembly"]) for one in part["operations"]]
    assert [one.operation for one in order.operations] == routed
    assert [task for task, *_ in shop.bench.rung] == [TAKE_OVER_TASK]
    assert handed_over(shop, after=entry.position) == ()


def test_accepted_on_the_day_and_by_the_book_of_the_quote_the_date_is_the_quoted_one(shop: Shop, number: str) -> None:
    promised = accepted(shop, number)["promised"]
    assert promised["ship_date"] == promised["quoted_ship_date"] == promised["days"]["p90"]
    assert promised["days"]["p50"] <= promised["days"]["p80"] <= promised["days"]["p90"]
    assert promised["load_snapshot"] == 1


def test_a_fuller_book_promises_a_later_day_and_keeps_the_one_that_was_quoted(shop: Shop, number: str, rates: Rates) -> None:
    quote = shop.ask("GET", f"/v1/quotes/{number}").json()
    shop.load.make(full(rates))
    before = shop.get("/v1/estimates", role="erp")["next"]
    promised = accepted(shop, number)["promised"]
    assert promised["quoted_ship_date"] == quote["breaks"][0]["lead_time"]["ship_date"] < promised["ship_date"]
    assert promised["load_snapshot"] == 2
    after = shop.get(f"/v1/quotes/{number}")
    assert after["breaks"] == quote["breaks"]
    assert after["decision"]["promised"] == promised
    (told,) = shop.get(f"/v1/estimates?after={before}", role="erp")["items"]
    assert told["decision"]["promised"] == promised, "the ERP is told of both days"


def test_a_later_day_of_acceptance_counts_from_that_day(shop: Shop, number: str) -> None:
    shop.now += timedelta(days=14)
    promised = accepted(shop, number)["promised"]
    assert promised["ship_date"] > promised["quoted_ship_date"]
    (entry,) = handed_over(shop)
    assert min(one.begins for one in entry.accepted.operations) >= shop.now.date()


def test_the_same_acceptance_told_again_has_the_same_answer_and_hands_nothing_over(shop: Shop, number: str, rates: Rates) -> None:
    first = accepted(shop, number)
    shop.load.make(full(rates))
    shop.now += timedelta(days=3)
    assert accepted(shop, number) == first
    assert len(handed_over(shop)) == 1
    assert len(shop.bench.rung) == 1


def test_a_decline_hands_nothing_over_and_promises_nothing(shop: Shop, number: str) -> None:
    assert accepted(shop, number, decision="declined", quantity=None)["promised"] is None
    assert handed_over(shop) == ()
    assert shop.bench.rung == []


def test_without_a_book_an_acceptance_is_dated_by_the_usual_load(shop: Shop, one_element: dict[str, Any]) -> None:
    promised = accepted(shop, shop.quoted(one_element))["promised"]
    assert promised["load_snapshot"] is None
    assert promised["ship_date"] == promised["quoted_ship_date"]
    assert handed_over(shop)[0].accepted.load_snapshot is None


def test_a_doorbell_that_cannot_be_rung_loses_nothing(shop: Shop, number: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def deaf(self: Bench, task: str, queue: str, number: str, attempt: int, trace: str) -> None:
        raise LookupError(f"there is no queue {queue}")

    monkeypatch.setattr(Bench, "send", deaf)
    accepted(shop, number)
    assert [entry.accepted.quote_number for entry in handed_over(shop)] == [number]


def test_an_order_that_cannot_be_handed_over_is_not_accepted(shop: Shop, number: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(connection: Connection, row_number: str, document: bytes, *, at: Any) -> None:
        raise RuntimeError("no room")

    with monkeypatch.context() as fault:
        fault.setattr(life_store, "insert_handover", broken)
        assert shop.ask("POST", f"/v1/quotes/{number}/decision", json=ORDER).status_code == 500
    quote = shop.get(f"/v1/quotes/{number}")
    assert (quote["state"], quote["decision"]) == ("open", None)
    assert [kind for kind, _, _ in QuoteStore(shop.bench.database).events(number)] == ["ready"]
    assert handed_over(shop) == ()
    assert shop.bench.rung == []
    accepted(shop, number)
    assert len(handed_over(shop)) == 1


def test_of_acceptances_at_once_one_is_handed_over_and_all_have_its_answer(shop: Shop, number: str) -> None:
    asked = DecisionRequest.model_validate(ORDER)
    answers = at_once(
        4, lambda place: decide(number, asked, key_id="key", now=shop.now + timedelta(seconds=place), resources=shop.bench)
    )
    assert all(isinstance(one, QuoteDecision) for one in answers), answers
    assert all(one == answers[0] for one in answers)
    assert len(handed_over(shop)) == 1
    assert len(shop.bench.rung) == 1


@pytest.mark.parametrize("role", ["sales", "erp", "engineer"])
def test_nobody_who_talks_to_customers_reads_what_is_handed_over(shop: Shop, role: str) -> None:
    answer = shop.ask("GET", "/v1/handovers", role=role)
    assert answer.status_code == 403
    assert f"A key of the role {role} may not do that" in answer.json()["detail"]


def test_entries_come_a_page_at_a_time_and_a_position_that_cannot_be_is_named(shop: Shop, number: str) -> None:
    accepted(shop, number)
    document = handed_over(shop)[0].accepted.model_dump_json().encode()
    for _ in range(3):
        LifeStore(shop.bench.database).decide(ready(shop.bench.database), decision_by("x"), document)
    page = HandoverPage.model_validate_json(shop.ask("GET", "/v1/handovers?limit=3", role="service").content).items
    assert len(page) == 3
    assert len(handed_over(shop, after=page[-1].position)) == 1
    for query in ("after=-1", "after=x", "limit=0", "limit=201"):
        assert shop.ask("GET", f"/v1/handovers?{query}", role="service").status_code == 422


def test_what_was_handed_over_cannot_be_changed_even_by_hand(shop: Shop, number: str) -> None:
    accepted(shop, number)
    for statement in ("update quoting.handovers set document = 'x'", "delete from quoting.handovers"):
        with pytest.raises(DBAPIError, match="never changed"), shop.bench.database.transaction() as connection:
            connection.execute(text(statement))


def ready(database: Database) -> str:
    """Number of another ready quote, without figures."""
    store = QuoteStore(database)
    begun, _ = store.accept(NEW, None, now=NOW)
    store.runs.settle(begun.number, 1, READY, now=NOW)
    return begun.number


def decision_by(whom: str) -> Decision:
    return Decision("accepted", 5, whom, "", "key", NOW)


def test_an_acceptance_waits_for_one_before_it_so_that_no_reader_passes_an_entry_over(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second = ready(database), ready(database)
    seen_meanwhile: list[object] = []

    def waits() -> bool:
        with database.transaction() as connection:
            return bool(connection.execute(text("select 1 from pg_locks where locktype = 'advisory' and not granted")).first())

    def with_another_meanwhile(connection: Connection, number: str, kind: str, detail: str, now: Any) -> None:
        note_event(connection, number, kind, detail, now)
        if number == first:
            other.start()
            while other.is_alive() and not waits():
                pass
            seen_meanwhile.extend(Handovers(database).after(0, most=9))

    other = threading.Thread(target=lambda: LifeStore(database).decide(second, decision_by("second"), b"2"))
    monkeypatch.setattr(life_store, "note_event", with_another_meanwhile)
    LifeStore(database).decide(first, decision_by("first"), b"1")
    other.join()
    assert seen_meanwhile == [], "the second is not there before the first"
    assert [entry.document for entry in Handovers(database).after(0, most=9)] == [b"1", b"2"]


def test_a_reader_who_goes_on_from_its_last_position_sees_every_acceptance_once(database: Database) -> None:
    numbers = [ready(database) for _ in range(12)]
    seen: list[str] = []
    accepting = threading.Thread(
        target=at_once,
        args=(len(numbers), lambda place: LifeStore(database).decide(numbers[place], decision_by("x"), numbers[place].encode())),
    )
    accepting.start()
    position, is_last = 0, False
    while not is_last:
        is_last = not accepting.is_alive()
        for entry in Handovers(database).after(position, most=5):
            position = entry.position
            seen.append(entry.document.decode())
        is_last = is_last and len(Handovers(database).after(position, most=1)) == 0
    assert sorted(seen) == sorted(numbers)
