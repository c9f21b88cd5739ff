"""A decline that is taken back, on a real PostgreSQL: it goes once, leaves its trace, and nothing else of a decision can be changed."""

from __future__ import annotations

import json
import threading
from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from sqlalchemy import text
from sqlalchemy.exc import SQLAlchemyError

from services.chassis.database import Database
from services.quoting.follow_up_errors import DecisionNotUndone
from services.quoting.service.undoing import UNDONE_WITHIN, undo, undone_decisions
from services.quoting.store.feed import Feed
from services.quoting.store.life import LifeStore
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import Decision, NewQuote, Outcome
from shared_schemas.quote_life import UndoRequest

NOW = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)
READY = Outcome("ready", "d1", body=b'{"a":1}', valid_until=date(2026, 12, 17))
NEW = NewQuote(request=b"{}", customer="Tarn & Fell", title="A lens", rate_revision=1, quoted_on=NOW.date(), trace="t" * 32)
ASKED = UndoRequest(by="E. Holm", reason="another quote was meant")


@pytest.fixture
def resources(database: Database) -> Any:
    return SimpleNamespace(database=database)


@pytest.fixture
def number(database: Database) -> str:
    """A quote that was declined at `NOW`."""
    store = QuoteStore(database)
    begun, _ = store.accept(NEW, None, now=NOW)
    store.runs.settle(begun.number, 1, READY, now=NOW)
    LifeStore(database).decide(begun.number, Decision("declined", None, "R. Vale", "", "k1", NOW, reason="price"))
    return begun.quote_number


def entries(database: Database, number: str) -> list[tuple[str, str | None]]:
    """What the feed tells of a quote: each type with who decided."""
    with database.transaction() as connection:
        rows = connection.execute(
            text("select type, document from quoting.feed_entries where quote_number = :n order by position"), {"n": number}
        )
        return [(row.type, (json.loads(bytes(row.document))["decision"] or {}).get("by")) for row in rows]


def test_a_decline_taken_back_leaves_the_quote_open_and_is_told_once(database: Database, resources: Any, number: str) -> None:
    undone = undo(number, ASKED, key_id="k2", now=NOW + UNDONE_WITHIN, resources=resources)
    assert undone.decision.reason == "price"
    assert undone_decisions(number, resources) == (undone,)
    assert QuoteStore(database).quote(number).decision is None
    assert entries(database, number) == [("ready", None), ("declined", "R. Vale"), ("withdrawn", "R. Vale")]
    with pytest.raises(DecisionNotUndone, match="nothing was decided"):
        undo(number, ASKED, key_id="k2", now=NOW, resources=resources)
    again = Decision("declined", None, "R. Vale", "", "k1", NOW + timedelta(hours=2), reason="date")
    assert LifeStore(database).decide(number, again) == again
    assert entries(database, number)[-1] == ("declined", "R. Vale")


def test_after_an_hour_and_for_an_acceptance_it_is_refused(database: Database, resources: Any, number: str) -> None:
    with pytest.raises(DecisionNotUndone, match=r"more than an hour ago.*requote"):
        undo(number, ASKED, key_id="k2", now=NOW + UNDONE_WITHIN + timedelta(seconds=1), resources=resources)
    begun, _ = QuoteStore(database).accept(NEW, None, now=NOW)
    QuoteStore(database).runs.settle(begun.number, 1, READY, now=NOW)
    LifeStore(database).decide(begun.number, Decision("accepted", 5, "R. Vale", "", "k1", NOW))
    with pytest.raises(DecisionNotUndone, match="/cancellation"):
        undo(begun.quote_number, ASKED, key_id="k2", now=NOW, resources=resources)
    assert [kind for kind, _ in entries(database, begun.quote_number)] == ["ready", "accepted"]


def test_of_several_at_once_one_takes_it_back(resources: Any, number: str) -> None:
    found: list[object] = []

    def one() -> None:
        try:
            found.append(undo(number, ASKED, key_id="k2", now=NOW, resources=resources))
        except DecisionNotUndone as fault:
            found.append(fault)

    threads = [threading.Thread(target=one) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sum(not isinstance(one, Exception) for one in found) == 1
    assert len(found) == 6
    assert len(undone_decisions(number, resources)) == 1


@pytest.mark.parametrize(
    "statement",
    [
        "delete from quoting.decisions where number = :n",
        "update quoting.decisions set note = 'x' where number = :n",
    ],
)
def test_no_decision_goes_or_changes_by_hand_also_when_one_was_undone_before(
    database: Database, resources: Any, number: str, statement: str
) -> None:
    undo(number, ASKED, key_id="k2", now=NOW, resources=resources)
    LifeStore(database).decide(number, Decision("declined", None, "R. Vale", "", "k1", NOW, reason="price"))
    with pytest.raises(SQLAlchemyError, match="never changed"), database.transaction() as connection:
        connection.execute(text(statement), {"n": number})
    with pytest.raises(SQLAlchemyError, match="never changed"), database.transaction() as connection:
        connection.execute(text("delete from quoting.undone_decisions"))


def test_an_open_quote_is_reminded_of_once_and_expires_all_the_same(database: Database, resources: Any, number: str) -> None:
    feed, last = Feed(database), date(2026, 12, 17)
    assert feed.remind(today=last, within_days=7, at=NOW) == 0, "it is declined"
    undo(number, ASKED, key_id="k2", now=NOW, resources=resources)
    assert feed.remind(today=last - timedelta(days=8), within_days=7, at=NOW) == 0
    assert [feed.remind(today=last - timedelta(days=days), within_days=7, at=NOW) for days in (7, 6, 0)] == [1, 0, 0]
    assert feed.expire(today=last, at=NOW) == 0
    assert [feed.expire(today=last + timedelta(days=1), at=NOW) for _ in range(2)] == [1, 0]
    assert feed.remind(today=last + timedelta(days=1), within_days=7, at=NOW) == 0
    assert [kind for kind, _ in entries(database, number)] == ["ready", "declined", "withdrawn", "expiring", "expired"]


def test_a_revision_that_is_open_again_is_superseded_by_the_next(database: Database, resources: Any, number: str) -> None:
    undo(number, ASKED, key_id="k2", now=NOW, resources=resources)
    begun, _ = LifeStore(database).add_revision(number, NEW, None, after=1, now=NOW)
    QuoteStore(database).runs.settle(begun.number, 1, READY, now=NOW)
    assert [kind for kind, _ in entries(database, number)][-2:] == ["ready", "superseded"]


def test_a_decline_of_a_revision_that_went_on_stands(database: Database, resources: Any, number: str) -> None:
    LifeStore(database).add_revision(number, NEW, None, after=1, now=NOW)
    first = ASKED.model_copy(update={"revision": 1})
    with pytest.raises(DecisionNotUndone, match="revision 2"):
        undo(number, first, key_id="k2", now=NOW, resources=resources)
