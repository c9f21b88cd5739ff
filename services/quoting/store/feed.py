"""The feed of estimates in PostgreSQL: an entry for whatever happens to a ready quote, written with it and never changed.

An entry has its document as it was at that moment: who reads the feed again reads the same bytes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import cast

from sqlalchemy import Connection, text

from services.chassis.database import Database
from services.chassis.epoch import Epoch, current_epoch
from services.quoting.store.rows import decision_document, decision_of
from shared_schemas.estimate_feed import EntryType, EstimateEntry
from shared_schemas.order_events import OrderCancellation, Rescheduling

FEED_LOCK = 7460214
NEXT_POSITION = "nextval('quoting.feed_positions')"
MOST_AT_ONCE = 200
"""Entries that one transaction writes, so that nobody waits long behind it."""

LAST = "(select l.type from quoting.feed_entries l where l.number = e.number order by l.position desc limit 1)"
OPEN_STILL = f"{LAST} in ('ready', 'withdrawn', 'expiring')"
"""That nothing has ended what began as the quote was ready: a decline that was taken back has not, nor that it was reminded of."""


@dataclass(frozen=True)
class StoredEntry:
    """One entry; `document` is what callers see."""

    position: int
    type: EntryType
    document: bytes


@dataclass(frozen=True)
class FeedEnd:
    """The newest entry at one moment, 0 before the first, and the epoch of that moment."""

    position: int
    epoch: Epoch


@dataclass(frozen=True)
class Choice:
    """Which entries are wanted: of these types (all, where none is named), and of what happened from a moment on."""

    types: tuple[EntryType, ...] = ()
    since: datetime | None = None


def lock_feed(connection: Connection) -> None:
    """Positions become visible in their order only if they are given out one transaction at a time."""
    connection.execute(text("select pg_advisory_xact_lock(:lock)"), {"lock": FEED_LOCK})


def insert_entry(
    connection: Connection, kind: EntryType, row_number: str, *, at: datetime, position: int | None = None,
    cancellation: OrderCancellation | None = None, rescheduled: Rescheduling | None = None,
) -> None:  # fmt: skip
    """Write what happened to the ready quote in the row `row_number`, with the decision on it, if any. Who calls this holds the lock of the feed."""
    if position is None:
        position = int(connection.execute(text(f"select {NEXT_POSITION}")).scalar_one())
    row = connection.execute(
        text("select q.quote_number, q.revision, q.title, q.customer, o.finished_at, d.decision, d.quantity, d.decided_by, d.note, d.key_id, d.at, "
             "d.promised, d.purchase_order, d.customer_number, d.contact, d.needed_by, d.reason, d.late, d.changes_order, d.order_change "
             "from quoting.quotes q join quoting.outcomes o on o.number = q.number "
             "left join quoting.decisions d on d.number = q.number where q.number = :n"),
        {"n": row_number},
    ).one()  # fmt: skip
    decided = dict(row._mapping)
    quote_number, revision, title, customer, finished_at = (
        decided.pop(name) for name in ("quote_number", "revision", "title", "customer", "finished_at")
    )
    entry = EstimateEntry(
        id=position,
        epoch=current_epoch(connection).token,
        type=kind,
        at=at.astimezone(UTC),
        number="E" + row_number.removeprefix("Q"),
        quote_number=quote_number,
        revision=revision,
        title=title,
        customer=customer,
        finished_at=finished_at.astimezone(UTC),
        decision=decision_document(quote_number, revision, decision_of(decided)) if decided["decision"] else None,
        cancellation=cancellation,
        rescheduled=rescheduled,
    )
    connection.execute(
        text("insert into quoting.feed_entries (position, epoch, type, at, number, quote_number, revision, document) "
             "values (:id, :epoch, :type, :at, :row, :quote_number, :revision, :document)"),
        {**entry.model_dump(include={"id", "epoch", "type", "at", "quote_number", "revision"}), "row": row_number,
         "document": entry.model_dump_json().encode()},
    )  # fmt: skip


def insert_ready(connection: Connection, row_number: str, *, at: datetime, position: int) -> None:
    """Write that a quote became ready, and that it supersedes earlier revisions to which nothing has happened since they were ready."""
    insert_entry(connection, "ready", row_number, at=at, position=position)
    superseded = connection.execute(
        text(f"select e.number from quoting.feed_entries e join quoting.quotes q on q.quote_number = e.quote_number and q.revision > e.revision "
             f"where q.number = :n and e.type = 'ready' and {OPEN_STILL} order by e.position"),  # nosec B608  a text of this module
        {"n": row_number},
    ).scalars()  # fmt: skip
    for earlier in superseded.all():
        insert_entry(connection, "superseded", earlier, at=at)


class Feed:
    """Everything that happened to ready quotes."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def page(self, *, after: int, most: int, choice: Choice = Choice()) -> list[StoredEntry]:
        """Entries from above a position, oldest first."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("select position, type, document from quoting.feed_entries where position > :after "
                     "and (cast(:since as timestamptz) is null or at >= :since) "
                     "and (cardinality(cast(:types as text[])) = 0 or type = any(cast(:types as text[]))) order by position limit :most"),
                {"after": after, "most": most, "since": choice.since, "types": list(choice.types)},
            )  # fmt: skip
            return [StoredEntry(row.position, row.type, bytes(row.document)) for row in rows]

    def end(self) -> FeedEnd:
        """Where the feed ends now."""
        with self._database.transaction() as connection:
            last = connection.execute(text("select coalesce(max(position), 0) from quoting.feed_entries")).scalar_one()
            return FeedEnd(cast(int, last), current_epoch(connection))

    def expire(self, *, today: date, at: datetime) -> int:
        """Write once of every quote that its last day is over, if nothing else has ended it since it was ready; how many it wrote."""
        return self._write_all("expired", f"o.valid_until < :day and {OPEN_STILL}", day=today, at=at)

    def remind(self, *, today: date, within_days: int, at: datetime) -> int:
        """Write once of every open quote that its last day is so many days away or fewer; how many it wrote."""
        soon = f"o.valid_until >= :today and o.valid_until <= :day and {LAST} in ('ready', 'withdrawn')"
        return self._write_all("expiring", soon, day=today + timedelta(days=within_days), today=today, at=at)

    def _write_all(self, kind: EntryType, where: str, *, at: datetime, **days: date) -> int:
        written = 0
        while True:
            numbers = self._write_some(kind, where, at, days)
            written += len(numbers)
            if len(numbers) < MOST_AT_ONCE:
                return written

    def _write_some(self, kind: EntryType, where: str, at: datetime, days: Mapping[str, date]) -> Sequence[str]:
        with self._database.transaction() as connection:
            lock_feed(connection)
            numbers = connection.execute(
                text("select e.number from quoting.feed_entries e join quoting.outcomes o on o.number = e.number where e.type = 'ready' "
                     f"and {where} order by e.position limit :most"),  # nosec B608  texts of this module
                {**days, "most": MOST_AT_ONCE},
            ).scalars().all()  # fmt: skip
            for number in numbers:
                insert_entry(connection, kind, number, at=at)
            return numbers
