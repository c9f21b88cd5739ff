"""The tables of quoting on a real PostgreSQL: nothing is lost, nothing is decided twice."""

from __future__ import annotations

import json
import threading
from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from services.chassis.database import Database
from services.quoting.errors import IdempotencyKeyReused, QuoteUnknown
from services.quoting.store.feed import Feed
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import DeadLetter, IdempotencyKey, NewQuote, Outcome, Start
from services.quoting.store.runs import next_look_s
from tests.integration.parts import listed

NOW = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)
READY = Outcome("ready", "d1", body=b'{"a":1}')
FAILED = Outcome("failed", "d2", problem=b'{"b":2}')


def new_quote(**changes: object) -> NewQuote:
    values = {
        "request": b"{}",
        "customer": "Tarn & Fell",
        "title": "A lens",
        "rate_revision": 1,
        "quoted_on": date(2026, 11, 2),
        "trace": "t" * 32,
    }
    return NewQuote(**{**values, **changes})  # type: ignore[arg-type]


def accepted(store: QuoteStore, key: IdempotencyKey | None = None) -> Start:
    start, _ = store.accept(new_quote(), key, now=NOW)
    return start


@pytest.fixture
def store(database: Database) -> QuoteStore:
    return QuoteStore(database)


def test_an_accepted_quote_has_its_first_start_in_the_outbox(store: QuoteStore) -> None:
    start = accepted(store)
    assert start.number.startswith("Q-2026-")
    assert start.attempt == 1
    assert store.runs.unsent(now=NOW) == [], "the one who accepted it is given two seconds to ring"
    assert store.runs.unsent(now=NOW + timedelta(seconds=3)) == [start]
    store.runs.sent(start.number, 1, now=NOW)
    assert store.runs.unsent(now=NOW + timedelta(seconds=3)) == []


def test_one_key_makes_one_quote_even_from_ten_requests_at_once(store: QuoteStore, database: Database) -> None:
    key = IdempotencyKey("caller", "POST /v1/quotes", "k", b"h")
    numbers: list[str] = []
    threads = [threading.Thread(target=lambda: numbers.append(accepted(store, key).number)) for _ in range(10)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(numbers) == 10
    assert len(set(numbers)) == 1
    assert len(listed(database)) == 1


def test_a_key_used_for_another_body_is_refused(store: QuoteStore) -> None:
    accepted(store, IdempotencyKey("caller", "POST /v1/quotes", "k", b"one"))
    with pytest.raises(IdempotencyKeyReused, match="k was used"):
        accepted(store, IdempotencyKey("caller", "POST /v1/quotes", "k", b"two"))
    accepted(store, IdempotencyKey("somebody else", "POST /v1/quotes", "k", b"two"))


def test_the_first_outcome_stands_and_a_second_changes_nothing(store: QuoteStore) -> None:
    number = accepted(store).number
    assert store.runs.settle(number, 1, READY, now=NOW) is True
    assert store.runs.settle(number, 2, READY, now=NOW) is False
    assert store.runs.settle(number, 2, FAILED, now=NOW) is False
    quote = store.quote(number)
    assert (quote.status, quote.digest, quote.body) == ("ready", "d1", b'{"a":1}')
    kinds = [kind for kind, _, _ in store.events(number)]
    assert kinds == ["ready", "late_outcome_differs"]


def test_two_that_settle_at_once_leave_one_outcome(store: QuoteStore) -> None:
    number = accepted(store).number
    stands: list[bool] = []
    threads = [threading.Thread(target=lambda n=n: stands.append(store.runs.settle(number, n, READY, now=NOW))) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(stands) == [False] * 7 + [True]


def test_an_outcome_cannot_be_changed_even_by_hand(store: QuoteStore, database: Database) -> None:
    number = accepted(store).number
    store.runs.settle(number, 1, READY, now=NOW)
    for statement in ("update quoting.outcomes set digest = 'x'", "delete from quoting.outcomes"):
        with pytest.raises(DBAPIError, match="never changed"), database.transaction() as connection:
            connection.execute(text(statement))


def test_what_is_overdue_is_started_again_with_the_next_attempt_and_at_last_given_up(store: QuoteStore) -> None:
    number = accepted(store).number
    assert store.runs.overdue(now=NOW + timedelta(seconds=14), most_attempts=3) == ([], [])
    now = NOW + timedelta(seconds=16)
    again, exhausted = store.runs.overdue(now=now, most_attempts=3)
    assert [(start.number, start.attempt) for start in again] == [(number, 2)]
    assert exhausted == []
    assert store.runs.overdue(now=now, most_attempts=3) == ([], []), "it is looked at again later"
    again, _ = store.runs.overdue(now=now + timedelta(minutes=6), most_attempts=3)
    assert [start.attempt for start in again] == [3]
    again, exhausted = store.runs.overdue(now=now + timedelta(minutes=12), most_attempts=3)
    assert again == []
    assert [(start.number, start.attempt) for start in exhausted] == [(number, 3)]


def test_a_settled_quote_is_never_overdue(store: QuoteStore) -> None:
    number = accepted(store).number
    store.runs.settle(number, 1, READY, now=NOW)
    assert store.runs.overdue(now=NOW + timedelta(days=1), most_attempts=3) == ([], [])
    assert store.is_settled(number)


def test_two_sweepers_never_start_the_same_quote_twice(store: QuoteStore) -> None:
    for _ in range(20):
        accepted(store)
    found: list[str] = []
    now = NOW + timedelta(minutes=1)

    def sweep() -> None:
        found.extend(start.number for start in store.runs.overdue(now=now, most_attempts=3)[0])

    threads = [threading.Thread(target=sweep) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(found) == len(set(found)) == 20


def test_a_broken_stage_leaves_a_dead_letter(store: QuoteStore, database: Database) -> None:
    number = accepted(store).number
    store.runs.settle(number, 1, FAILED, now=NOW, letter=DeadLetter("glass", b"{}", "Traceback …", "celery=5.7.0"))
    with database.transaction() as connection:
        row = connection.execute(text("select number, stage, traceback from quoting.dead_letters")).one()
    assert tuple(row) == (number, "glass", "Traceback …")


def test_the_feed_is_in_the_order_quotes_became_ready(store: QuoteStore, database: Database) -> None:
    first, second, third = (accepted(store).number for _ in range(3))
    store.runs.settle(third, 1, READY, now=NOW)
    store.runs.settle(second, 1, FAILED, now=NOW)
    store.runs.settle(first, 1, READY, now=NOW)
    entries = Feed(database).page(after=0, most=10)
    numbers = [json.loads(entry.document)["number"].replace("E", "Q", 1) for entry in entries]
    assert numbers == [third, first]
    assert Feed(database).page(after=entries[0].position, most=10) == entries[1:]


def test_a_quote_that_does_not_exist_is_said_to(store: QuoteStore) -> None:
    with pytest.raises(QuoteUnknown, match="Q-1999-000001"):
        store.quote("Q-1999-000001")


@pytest.mark.parametrize(("attempt", "least_s"), [(1, 10), (2, 20), (3, 40), (6, 300), (20, 300)])
def test_looks_at_a_quote_grow_apart_up_to_five_minutes(attempt: int, least_s: float) -> None:
    assert least_s <= next_look_s(attempt) <= 1.2 * least_s
