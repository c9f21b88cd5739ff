"""Declines that are taken back, in PostgreSQL: what was said stays, as what was undone."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import text

from services.chassis import audit
from services.chassis.database import Database
from services.quoting.store.feed import insert_entry, lock_feed
from services.quoting.store.runs import note_event


class UndoStore:
    """Decisions that were undone. Each method is one transaction."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def undo(
        self, row_number: str, decision: bytes, *, decided_at: datetime, by: str, reason: str, key_id: str, now: datetime
    ) -> bool:
        """Take back the decline of the row that was made at `decided_at`; whether it still stood. The feed tells that it is withdrawn."""
        with self._database.transaction() as connection:
            lock_feed(connection)
            # A requote holds this lock: no later revision comes meanwhile.
            connection.execute(
                text("select 1 from quoting.quotes q join quoting.quotes first on first.quote_number = q.quote_number "
                     "and first.revision = 1 where q.number = :n for update of first"),
                {"n": row_number},
            ).one()  # fmt: skip
            there = connection.execute(
                text(
                    "select 1 from quoting.decisions where number = :n and at = :at and decision = 'declined' and not exists (select 1 from quoting.quotes q "
                    "join quoting.quotes l on l.quote_number = q.quote_number and l.revision > q.revision and l.status <> 'cancelled' "
                    "where q.number = :n)"
                ),
                {"n": row_number, "at": decided_at},
            ).one_or_none()
            if there is None:
                return False
            connection.execute(
                text("insert into quoting.undone_decisions (number, decision, undone_by, reason, key_id, at) "
                     "values (:n, :decision, :by, :reason, :key, :now)"),
                {"n": row_number, "decision": decision, "by": by, "reason": reason, "key": key_id, "now": now},
            )  # fmt: skip
            insert_entry(connection, "withdrawn", row_number, at=now)
            connection.execute(text("delete from quoting.decisions where number = :n"), {"n": row_number})
            note_event(connection, row_number, "decision_undone", f"by {by}, key {key_id}", now)
            audit.record(connection, action="quote.undo", subject=row_number, at=now, details={"undone_by": by, "reason": reason})
        return True

    def undone(self, row_number: str) -> list[tuple[bytes, str, str, str, datetime]]:
        """What was undone of a row, oldest first: the decision as it was, by whom, why, with which key, when."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("select decision, undone_by, reason, key_id, at from quoting.undone_decisions where number = :n order by id"),
                {"n": row_number},
            )
            return [(bytes(row.decision), row.undone_by, row.reason, row.key_id, row.at) for row in rows]
