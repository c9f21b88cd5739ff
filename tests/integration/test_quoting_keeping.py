"""What time does to stored quotes: they are packed tightly and stay what they are, and what nobody needs any more is forgotten."""

from __future__ import annotations

import json
import zlib
from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from services.chassis.database import Database
from services.chassis.packing import QUICK, TIGHT
from services.orders.store.repository import BookStore
from services.quoting.store.blocks import digest_of, tighten
from services.quoting.store.forgetting import KeptDays, forget
from services.quoting.store.repository import QuoteStore, standing
from services.quoting.store.rows import DeadLetter, IdempotencyKey, NewQuote, Outcome

NOW = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)
LATER = NOW + timedelta(minutes=5)
BODY = json.dumps({"breaks": [{"quantity": n, "unit_price": f"{n}.00"} for n in range(400)]}).encode()
READY = Outcome("ready", digest_of(BODY), body=BODY, blanks=b'{"b":2}', operations=BODY[::-1], valid_until=date(2026, 12, 17))
KEPT = KeptDays(outbox=7, events=7, idempotency_keys=7, letters=7, impacts=7, what_ifs=7, deliveries=7)


@pytest.fixture
def store(database: Database) -> QuoteStore:
    return QuoteStore(database)


def settled(store: QuoteStore, outcome: Outcome = READY, key: IdempotencyKey | None = None) -> str:
    new = NewQuote(b"{}", "Tarn & Fell", "A lens", 1, NOW.date(), "t" * 32)
    begun, _ = store.accept(new, key, now=NOW)
    store.runs.sent(begun.number, 1, now=NOW)
    letter = DeadLetter("glass", b"{}", "Traceback", "") if outcome.status == "failed" else None
    assert store.runs.settle(begun.number, 1, outcome, now=NOW, letter=letter)
    return begun.number


def of_before(database: Database, number: str) -> None:
    """Lay the documents of a quote as they lay before there were blocks."""
    with database.transaction() as connection:
        connection.execute(text("set local session_replication_role = replica"))
        connection.execute(
            text("update quoting.outcomes set body = :body, blanks = :blanks, operations = :operations, packing = null, packed = null, "
                 "body_bytes = null, blanks_bytes = null, operations_bytes = null where number = :n"),
            {"n": number, "body": BODY, "blanks": zlib.compress(READY.blanks or b""), "operations": zlib.compress(READY.operations or b"")},
        )  # fmt: skip


def packings(database: Database) -> dict[str, str | None]:
    with database.transaction() as connection:
        rows = connection.execute(text("select number, packing from quoting.outcomes"))
        return {row.number: row.packing for row in rows}


def test_packed_tightly_or_as_before_a_quote_reads_the_same(store: QuoteStore, database: Database) -> None:
    old, new = settled(store), settled(store)
    of_before(database, old)
    assert packings(database) == {old: None, new: QUICK}
    before = [(store.quote(number), store.sections(number)) for number in (old, new)]
    assert [row.body for row, _ in before] == [BODY, BODY]
    assert tighten(database, settled_before=LATER, within_s=60) == 2
    assert packings(database) == {old: TIGHT, new: TIGHT}
    assert [(store.quote(number), store.sections(number)) for number in (old, new)] == before
    assert tighten(database, settled_before=LATER, within_s=60) == 0


def test_a_quote_that_was_just_settled_is_left_for_later_and_one_at_least_is_done(store: QuoteStore, database: Database) -> None:
    settled(store)
    settled(store)
    assert tighten(database, settled_before=NOW, within_s=60) == 0
    assert tighten(database, settled_before=LATER, within_s=0) == 1


def test_a_body_with_another_digest_is_left_as_it_lies_and_stops_nobody(store: QuoteStore, database: Database) -> None:
    damaged = settled(store, Outcome("ready", "d1", body=b'{"a":1}'))
    good = settled(store)
    assert tighten(database, settled_before=LATER, within_s=60) == 1
    assert packings(database) == {damaged: QUICK, good: TIGHT}


def test_the_door_for_packing_lets_nothing_else_through(store: QuoteStore, database: Database) -> None:
    settled(store)
    for statement in (
        "update quoting.outcomes set digest = 'x'",
        "update quoting.outcomes set valid_until = null",
        "delete from quoting.outcomes",
    ):
        with database.engine.connect() as connection:
            connection.execute(text("set local quoting.repacking = 'on'"))
            with pytest.raises(DBAPIError, match="never changed"):
                connection.execute(text(statement))
    with pytest.raises(DBAPIError, match="never changed"), database.transaction() as connection:
        connection.execute(text("update quoting.outcomes set packed = 'x'"))


def test_what_is_over_is_forgotten_and_quotes_stay(store: QuoteStore, database: Database) -> None:
    key = IdempotencyKey("caller", "POST /v1/quotes", "k", b"h")
    number, failed = settled(store, key=key), settled(store, Outcome("failed", "d2", problem=b"{}"))
    with database.transaction() as connection:
        connection.execute(
            text("update quoting.dead_letters set replayed_at = :now, replayed_by = 'a', replayed_attempt = 2"), {"now": NOW}
        )
    assert set(forget(database, KEPT, now=NOW + timedelta(days=6)).values()) == {0}
    counted = standing(database).events
    gone = forget(database, KEPT, now=NOW + timedelta(days=8))
    assert gone == {"outbox": 2, "events": 2, "idempotency_keys": 1, "letters": 1, "impacts": 0, "what_ifs": 0, "deliveries": 0}
    assert standing(database).events == counted, "a counter never goes back"
    assert store.quote(number).body == BODY
    assert store.quote(failed).status == "failed"
    assert store.start_under(key) is None


def test_what_belongs_to_a_quote_under_way_stays_however_old(store: QuoteStore, database: Database) -> None:
    begun, _ = store.accept(NewQuote(b"{}", "c", "t", 1, NOW.date(), "t" * 32), None, now=NOW)
    store.runs.sent(begun.number, 1, now=NOW)
    store.runs.overdue(now=NOW + timedelta(minutes=10), most_attempts=3)
    gone = forget(database, KEPT, now=NOW + timedelta(days=400))
    assert (gone["outbox"], gone["events"]) == (0, 0)


def test_old_snapshots_of_the_book_are_forgotten_but_not_the_newest_nor_those_of_sixty_days(database: Database) -> None:
    with database.transaction() as connection:
        for number, age_days in ((2, 500), (3, 450), (4, 30), (5, 20)):
            connection.execute(
                text("insert into orders.snapshots select :n, :n, now() - make_interval(days => :age), 0, '{}'"),
                {"n": number, "age": age_days},
            )
    book = BookStore(database)
    today = datetime.now(UTC)
    assert book.forget_snapshots(before=today - timedelta(days=400)) == 2
    assert [head for head in _numbers(database) if head != 1] == [4, 5]
    with pytest.raises(DBAPIError, match="a snapshot of the book is never changed"):
        book.forget_snapshots(before=today)


def _numbers(database: Database) -> list[int]:
    with database.transaction() as connection:
        return list(connection.execute(text("select number from orders.snapshots order by number")).scalars())
