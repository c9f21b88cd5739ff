"""Revisions, decisions and batches on a real PostgreSQL when many come at once: one is first, and it stands."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import text

from services.chassis.audit import AuditLog
from services.chassis.database import Database
from services.quoting.errors import IdempotencyKeyReused, QueueFull, QuoteInWork, RevisionUnknown
from services.quoting.store.batches import BatchStore
from services.quoting.store.bounds import Bounds
from services.quoting.store.impacts import IMPACT_RUNS
from services.quoting.store.life import LifeStore
from services.quoting.store.repository import QUOTE_RUNS, QuoteStore
from services.quoting.store.rows import Decision, IdempotencyKey, NewQuote, Outcome, Start
from services.quoting.store.searching import ListedQuote, QuoteList, Search
from services.quoting.store.turns import admit_in_turn

NOW = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)
READY = Outcome("ready", "d1", body=b'{"a":1}', valid_until=date(2026, 12, 17))
NEW = NewQuote(request=b"{}", customer="Tarn & Fell", title="A lens", rate_revision=1, quoted_on=NOW.date(), trace="t" * 32)


def listed(database: Database) -> list[ListedQuote]:
    """What the list of quotes has."""
    found, _ = QuoteList(database).page(Search(today=NOW.date(), now=NOW), before=None, most=99)
    return found


@pytest.fixture
def ready(database: Database) -> str:
    """Number of a ready quote."""
    store = QuoteStore(database)
    begun, _ = store.accept(NEW, None, now=NOW)
    store.runs.settle(begun.number, 1, READY, now=NOW)
    return begun.quote_number


def at_once(count: int, work: Callable[[int], object]) -> list[object]:
    """What `work` gives, or raises, for each of so many threads."""
    found: list[object] = []

    def one(place: int) -> None:
        try:
            found.append(work(place))
        except Exception as fault:
            found.append(fault)

    threads = [threading.Thread(target=one, args=(place,)) for place in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return found


def requoted(database: Database, number: str, key: IdempotencyKey | None = None) -> tuple[str, bool]:
    begun, is_new = LifeStore(database).add_revision(number, NEW, key, after=1, now=NOW)
    return begun.number, is_new


def test_of_ten_requotes_at_once_one_becomes_the_next_revision(database: Database, ready: str) -> None:
    found = at_once(8, lambda _: requoted(database, ready))
    assert [one for one in found if not isinstance(one, Exception)] == [(f"{ready}.2", True)]
    assert sum(isinstance(one, QuoteInWork) for one in found) == 7
    assert [one.row.revision for one in listed(database)] == [2]


def test_ten_requotes_under_one_key_are_one_revision(database: Database, ready: str) -> None:
    key = IdempotencyKey("caller", "POST requote", "k", b"h")
    found = at_once(8, lambda _: requoted(database, ready, key))
    assert sorted(found) == [(f"{ready}.2", False)] * 7 + [(f"{ready}.2", True)]  # type: ignore[type-var]
    with pytest.raises(IdempotencyKeyReused):
        requoted(database, ready, IdempotencyKey("caller", "POST requote", "k", b"other"))


def test_a_requote_on_what_is_no_longer_the_latest_is_refused(database: Database, ready: str) -> None:
    requoted(database, ready)
    QuoteStore(database).runs.settle(f"{ready}.2", 1, READY, now=NOW)
    with pytest.raises(QuoteInWork, match="Revision 2"):
        requoted(database, ready)
    with pytest.raises(RevisionUnknown, match="its latest is 2"):
        QuoteStore(database).quote(ready, 3)


def test_of_two_decisions_at_once_one_stands_for_both(database: Database, ready: str) -> None:
    wanted = [Decision("declined", None, f"person {n}", "", "key", NOW) for n in range(8)]
    stands = at_once(8, lambda place: LifeStore(database).decide(ready, wanted[place]))
    assert len(set(stands)) == 1
    assert QuoteStore(database).quote(ready).decision == stands[0]
    assert [kind for kind, _, _ in QuoteStore(database).events(ready)] == ["ready", "declined"]


def test_one_key_makes_one_batch_even_from_several_at_once(database: Database) -> None:
    key = IdempotencyKey("caller", "POST batch", "k", b"h")
    found = at_once(6, lambda _: BatchStore(database).accept([NEW] * 5, key, now=NOW)[0])
    assert len(set(found)) == 1
    assert len(listed(database)) == 5


def admitted(database: Database, most: int, *, now: datetime) -> list[Start]:
    """What is let in when so many may be under way."""
    tables = (QUOTE_RUNS, IMPACT_RUNS)
    return [start for _, start in admit_in_turn(database, tables, most_in_flight={False: most}, now=now, first_check_s=15)]


def test_a_batch_waits_outside_the_queues_and_no_sweeper_takes_it_for_lost(database: Database) -> None:
    store, batches = QuoteStore(database), BatchStore(database)
    number, _ = batches.accept([NEW] * 5, None, now=NOW)
    much_later = NOW + timedelta(days=1)
    assert store.runs.unsent(now=much_later) == []
    assert store.runs.overdue(now=much_later, most_attempts=3) == ([], [])
    begun, _ = store.accept(NEW, None, now=much_later, bounds=Bounds(most_unfinished=6))
    with pytest.raises(QueueFull):
        store.accept(NEW, None, now=much_later, bounds=Bounds(most_unfinished=6))
    first = admitted(database, 3, now=much_later)
    assert [start.number for start in first] == list(batches.numbers(number)[:2])
    assert admitted(database, 3, now=much_later) == []
    lost = store.runs.unsent(now=much_later + timedelta(seconds=3))
    assert {start.number for start in lost} == {begun.number, *(start.number for start in first)}, (
        "admitted, and not known to be sent"
    )
    store.runs.settle(first[0].number, 1, READY, now=much_later)
    assert [start.number for start in admitted(database, 3, now=much_later)] == [batches.numbers(number)[2]]
    assert batches.batch(number).counts == {"accepted": 4, "ready": 1}
    assert not batches.runs.is_finished(number)


def test_two_who_admit_at_once_never_admit_the_same_quote_twice(database: Database) -> None:
    batches = BatchStore(database)
    batches.accept([NEW] * 40, None, now=NOW)
    found: list[str] = []
    at_once(4, lambda _: found.extend(start.number for start in admitted(database, 10, now=NOW)))
    assert len(found) == len(set(found))
    assert 10 <= len(found) <= 40


def test_a_decision_and_a_cancelling_are_audited_once_with_their_change(database: Database, ready: str) -> None:
    life, store = LifeStore(database), QuoteStore(database)
    declined = Decision("declined", None, "Ms Fell", "too dear", "k1", NOW)
    life.decide(ready, declined)
    life.decide(ready, declined)
    under_way = store.accept(NEW, None, now=NOW)[0].number
    for _ in range(2):
        store.runs.cancel("number", under_way, Outcome("cancelled", "d2", problem=b"{}"), now=NOW, audited_as="quote.cancel")
    found = [(entry.action, entry.subject) for entry in AuditLog(database).entries()][1:]
    assert found == [("quote.decline", ready), ("quote.cancel", under_way)]
    assert AuditLog(database).page(most=1, action="quote.decline")[0].details == {"decided_by": "Ms Fell", "quantity": None}


def test_a_quote_itself_is_not_audited(database: Database, ready: str) -> None:
    assert [entry.action for entry in AuditLog(database).entries()] == ["rates.publish"]


def test_a_customer_is_waited_for_since_the_offer_was_sent_and_before_that_since_the_quote_was_ready(
    database: Database, ready: str
) -> None:
    def waits(days: int) -> bool:
        now = NOW + timedelta(days=days)
        found, _ = QuoteList(database).page(
            Search(today=now.date(), now=now, follow_up="waiting", within_days=3), before=None, most=9
        )
        return bool(found)

    assert [waits(days) for days in (2, 3)] == [False, True]
    with database.transaction() as connection:
        connection.execute(
            text("insert into quoting.offers (id, position, number, quote_number, revision, made_at, made_by, sent_at, send, recipients, copies, "
                 "language, paper, pdf, mail, code_sha256, body_sha256) values ('O-1', 1, :n, :n, 1, :at, 'k', :at, 'mail', '{a@b.example}', '{}', "
                 "'en', 'a4', ''::bytea, ''::bytea, ''::bytea, ''::bytea)"),
            {"n": ready, "at": NOW + timedelta(days=2)},
        )  # fmt: skip
    assert [waits(days) for days in (3, 4, 5)] == [False, False, True]
