"""Dead letters in PostgreSQL: failures that an operator reads, and replays when their cause is mended."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection, Row, text

from services.chassis.database import Database
from services.quoting.errors import LetterNotReplayable, LetterUnknown, ReplayOfNoUse
from services.quoting.store.repository import quote_start
from services.quoting.store.rows import Start
from services.quoting.store.runs import first_look_s
from shared_schemas.rates import RateMissing

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
        for a quote that is not failed: it is under way, or has figures, and those never change. Raises `ReplayOfNoUse`
        where a rate is missing in the revision that the quote is pinned to, and where a later revision is ready.
        """
        with self._database.transaction() as connection:
            row = connection.execute(
                text("select q.number, q.quote_number, q.revision, q.status, q.attempt, q.large, d.traceback "
                     "from quoting.dead_letters d join quoting.quotes q on q.number = d.number where d.id = :id for update of q"),
                {"id": letter},
            ).one_or_none()  # fmt: skip
            if row is None:
                raise LetterUnknown(letter)
            if row.status != "failed":
                raise LetterNotReplayable(letter, row.number, row.status)
            _refuse_of_no_use(connection, letter, row)
            attempt = row.attempt + 1
            known = {
                "number": row.number,
                "attempt": attempt,
                "now": now,
                "by": by,
                "check": now + timedelta(seconds=first_look_s(first_check_s, large=row.large)),
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
            return quote_start(connection, row.number)


_OF_A_MISSING_RATE = f"{RateMissing.__module__}.{RateMissing.__qualname__}:"
"""How a traceback names the fault."""


def _refuse_of_no_use(connection: Connection, letter: int, row: Row[Any]) -> None:
    if _OF_A_MISSING_RATE in row.traceback:
        raise ReplayOfNoUse(
            letter, row.quote_number, "a rate is missing in the revision that the quote is pinned to, which never changes"
        )
    later = connection.execute(
        text("select max(revision) from quoting.quotes where quote_number = :of and revision > :here and status = 'ready'"),
        {"of": row.quote_number, "here": row.revision},
    ).scalar_one()
    if later is not None:
        raise ReplayOfNoUse(letter, row.quote_number, f"revision {later} of {row.quote_number} is ready")
