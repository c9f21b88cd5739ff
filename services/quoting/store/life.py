"""Later revisions of a quote, and decisions on them, in PostgreSQL."""

from __future__ import annotations

from dataclasses import fields
from datetime import datetime

from sqlalchemy import Connection, text

from services.chassis import audit
from services.chassis.database import Database
from services.quoting.errors import DecisionStands, NothingToChange, OrderOver, QuoteInWork
from services.quoting.store.bounds import NO_BOUNDS, Bounds, refuse_when_full
from services.quoting.store.feed import NEXT_POSITION, insert_entry, lock_feed
from services.quoting.store.handovers import insert_handover
from services.quoting.store.order_events import end_of_order
from services.quoting.store.repository import insert_revision, quote_start
from services.quoting.store.rows import Decision, IdempotencyKey, NewQuote, Start, decision_of
from services.quoting.store.runs import accept_once, note_event
from shared_schemas.estimate_feed import EntryType

COLUMNS = tuple(column.name for column in fields(Decision))
"""Of a decision in its table."""


class LifeStore:
    """What happens to a quote after its first revision was asked for."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def request_of(self, row_number: str) -> bytes:
        """What the row `row_number` was asked as."""
        with self._database.transaction() as connection:
            request = connection.execute(text("select request from quoting.quotes where number = :n"), {"n": row_number})
            return bytes(request.scalar_one())

    def add_revision(
        self, number: str, new: NewQuote, key: IdempotencyKey | None, *, after: int, now: datetime, bounds: Bounds = NO_BOUNDS,
    ) -> tuple[Start, bool]:  # fmt: skip
        """Store the revision that follows revision `after`, with its first start; the start, and whether it is a new one.

        The first revision's row is locked meanwhile, so that one follows another. Raises `QuoteInWork` when the latest
        revision is under way, or became the latest after `after` was read; `IdempotencyKeyReused`;
        `QueueFull` or `KeyHasEnough` beyond the bounds.
        """

        def lock(connection: Connection) -> None:
            connection.execute(
                text("select 1 from quoting.quotes where quote_number = :n and revision = 1 for update"), {"n": number}
            ).one()

        def insert(connection: Connection) -> Start:
            latest = connection.execute(
                text(
                    "select position, revision, status, (select max(n.revision) from quoting.quotes n where n.quote_number = :n) as last "
                    "from quoting.quotes where quote_number = :n order by status = 'cancelled', revision desc limit 1"
                ),
                {"n": number},
            ).one()
            if latest.status == "accepted" or latest.revision != after:
                raise QuoteInWork(number, latest.revision)
            refuse_when_full(connection, new.caller, 1, bounds)
            return insert_revision(
                connection, number, new, key, position=latest.position, revision=latest.last + 1, now=now, bounds=bounds
            )

        return accept_once(self._database, key, insert, known=quote_start, lock=lock)

    def decide(self, row_number: str, decision: Decision, handover: bytes | None = None) -> Decision:
        """Record a decision on the row `row_number` unless there is one, with the order that an acceptance hands over; the decision that stands.

        A quote is one order: raises `DecisionStands` for an acceptance where another revision is accepted, unless it says that it changes
        that order, `NothingToChange` where it says so of what is not that order, and `OrderOver` where the order has ended. The first
        revision's row is locked meanwhile, so that of two acceptances one is first.
        """
        with self._database.transaction() as connection:
            lock_feed(connection)
            quote = connection.execute(
                text("select first.number, first.quote_number from quoting.quotes q join quoting.quotes first "
                     "on first.quote_number = q.quote_number and first.revision = 1 where q.number = :n for update of first"),
                {"n": row_number},
            ).one()  # fmt: skip
            changed = _order_changed(connection, quote.quote_number, row_number, decision)
            position = connection.execute(
                text(f"insert into quoting.decisions ({', '.join(COLUMNS)}, number, feed_position) "
                     f"values (:{', :'.join(COLUMNS)}, :number, {NEXT_POSITION}) on conflict (number) do nothing returning feed_position"),  # nosec B608  columns of this module
                {"number": row_number, **vars(decision)},
            ).scalar()  # fmt: skip
            if position is not None:
                if handover is not None:
                    insert_handover(connection, row_number, handover, at=decision.at)
                note_event(
                    connection, row_number, decision.decision, f"by {decision.decided_by}, key {decision.key_id}", decision.at
                )
                _audit(connection, row_number, decision)
                kind: EntryType = "accepted" if decision.decision == "accepted" else "declined"
                insert_entry(connection, kind, row_number, at=decision.at, position=position)
                if changed is not None:
                    insert_entry(connection, "superseded", changed, at=decision.at)
                return decision
            stands = connection.execute(
                text(f"select {', '.join(COLUMNS)} from quoting.decisions where number = :n"),  # nosec B608  columns of ours
                {"n": row_number},
            ).one()
            return decision_of(dict(stands._mapping))


def _order_changed(connection: Connection, quote_number: str, row_number: str, decision: Decision) -> str | None:
    """The row whose order an acceptance takes the place of, `None` for a first one, and where this revision was decided on before."""
    if decision.decision != "accepted":
        return None
    rows = connection.execute(
        text("select q.number, q.revision, d.decision, d.quantity, d.decided_by, d.at from quoting.quotes q left join quoting.decisions d "
             "on d.number = q.number where q.quote_number = :quote and (d.decision = 'accepted' or q.number = :n) order by q.revision desc"),
        {"quote": quote_number, "n": row_number},
    ).all()  # fmt: skip
    this = next(row for row in rows if row.number == row_number)
    if this.decision is not None:
        return None
    ordered = next((row for row in rows if row.number != row_number), None)
    if ordered is None:
        if decision.changes_order is not None:
            raise NothingToChange(quote_number, decision.changes_order, None)
        return None
    if end := end_of_order(connection, quote_number):
        raise OrderOver(quote_number, end.state, end.at)
    if decision.changes_order is None or ordered.revision > this.revision:
        words = f"accepted for {ordered.quantity} by {ordered.decided_by} on {ordered.at:%Y-%m-%d}"
        raise DecisionStands(quote_number, ordered.revision, words, later=this.revision > ordered.revision)
    if decision.changes_order != ordered.revision:
        raise NothingToChange(quote_number, decision.changes_order, ordered.revision)
    return str(ordered.number)


def _audit(connection: Connection, row_number: str, decision: Decision) -> None:
    details = {"decided_by": decision.decided_by, "quantity": decision.quantity}
    action = "quote.accept" if decision.decision == "accepted" else "quote.decline"
    audit.record(connection, action=action, subject=row_number, at=decision.at, details=details)
