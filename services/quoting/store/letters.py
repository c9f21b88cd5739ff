"""Dead letters in PostgreSQL: failures that an operator reads, and replays when their cause is mended."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import text

from services.chassis.database import Database
from services.quoting.errors import LetterNotReplayable, LetterUnknown
from services.quoting.store.rows import Start
from services.quoting.store.writing import start_of

_LETTER = """
    select d.id, d.number, d.attempt, d.stage, d.problem, d.traceback, d.versions, d.at, d.replayed_at, d.replayed_by, q.status
    from quoting.dead_letters d join quoting.quotes q on q.number = d.number
"""


@dataclass(frozen=True)
class StoredLetter:
    """A dead letter as it lies in the table; `status` is that of its quote now."""

    id: int
    number: str
    attempt: int
    stage: str
    problem: bytes
    traceback: str
    versions: str
    at: datetime
    replayed_at: datetime | None
    replayed_by: str | None
    status: str


class DeadLetters:
    """The dead letters of the quoting service."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def page(self, *, before: int | None, most: int, replayed: bool | None) -> list[StoredLetter]:
        """Letters newest first, from below the id `before`; only those that were replayed, or were not, when asked so."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text(
                    _LETTER
                    + """
                    where (cast(:before as bigint) is null or d.id < :before)
                      and (cast(:replayed as boolean) is null or (d.replayed_at is not null) = :replayed)
                    order by d.id desc limit :most
                """
                ),
                {"before": before, "most": most, "replayed": replayed},
            )
            return [StoredLetter(**{**row._mapping, "problem": bytes(row.problem)}) for row in rows]

    def replay(self, letter: int, *, by: str, now: datetime, first_check_s: float) -> Start:
        """Make the failed quote of a letter an accepted one again, with its next attempt and all its attempts before it.

        All letters of the quote that were not replayed yet are marked. Raises `LetterUnknown`, and `LetterNotReplayable`
        for a quote that is not failed: it is under way, or has figures, and those never change.
        """
        with self._database.transaction() as connection:
            row = connection.execute(
                text("select q.number, q.status, q.attempt "
                     "from quoting.dead_letters d join quoting.quotes q on q.number = d.number where d.id = :id for update of q"),
                {"id": letter},
            ).one_or_none()  # fmt: skip
            if row is None:
                raise LetterUnknown(letter)
            if row.status != "failed":
                raise LetterNotReplayable(letter, row.number, row.status)
            attempt = row.attempt + 1
            known = {
                "number": row.number,
                "attempt": attempt,
                "now": now,
                "by": by,
                "check": now + timedelta(seconds=first_check_s),
                "detail": f"attempt {attempt}, by {by}",
            }
            for statement in (
                "delete from quoting.outcomes where number = :number",
                "update quoting.quotes set status = 'accepted', attempt = :attempt, first_attempt = :attempt, next_check_at = :check "
                "where number = :number",
                "insert into quoting.outbox (number, attempt, created_at) values (:number, :attempt, :now)",
                "update quoting.dead_letters set replayed_at = :now, replayed_by = :by, replayed_attempt = :attempt "
                "where number = :number and replayed_at is null",
                "insert into quoting.events (number, kind, detail, at) values (:number, 'replayed', :detail, :now)",
            ):
                connection.execute(text(statement), known)
            return start_of(connection, row.number)
