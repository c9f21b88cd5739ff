"""Copies of quotes in which something is changed, in PostgreSQL: worked out as runs beside quotes, and forgotten after some days.

The quote itself is read here and never written.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import cast

from sqlalchemy import Connection, text

from services.chassis.database import Database
from services.quoting.change_errors import WhatIfUnknown
from services.quoting.store.bounds import Bounds, refuse_when_full
from services.quoting.store.rows import IdempotencyKey
from services.quoting.store.runs import Runs, RunTable, Settlement, accept_once, by_number, use_key

NUMBER = re.compile(r"W-\d{4}-\d{6,12}", re.ASCII)
"""What a what-if is called: year and position."""

ENTRY = re.compile(NUMBER.pattern + r"\.\d{1,2}", re.ASCII)
"""What the traveller of one of its copies is called: the number, and the copy's place from 1."""


@dataclass(frozen=True)
class NewCopy:
    """A copy about to be accepted; `as_planned`: the plans of its quote hold for it too."""

    name: str
    request: bytes
    rate_revision: int
    work_s: float
    large: bool
    as_planned: bool


@dataclass(frozen=True)
class StoredWhatIf:
    """A what-if, and the row of the quote that it is about."""

    number: str
    quote: str
    quote_number: str
    revision: int
    rate_revision: int
    quoted_on: date
    created_at: datetime
    asked_by: str


@dataclass(frozen=True)
class StoredCopy:
    """A copy, with what became of it."""

    name: str
    request: bytes
    rate_revision: int
    as_planned: bool
    status: str
    figures: bytes | None
    problem: bytes | None


def _settle(connection: Connection, settled: Settlement) -> bool:
    """Record what became of a copy, once. The `body` of a ready outcome is its figures; of a letter the traceback is kept."""
    outcome, letter = settled.outcome, settled.letter
    done = connection.execute(
        text("update quoting.what_if_copies set status = :status, digest = :digest, figures = :body, problem = :problem, "
             "traceback = :traceback, finished_at = :now, next_check_at = null where number = :number and status = 'accepted'"),
        {"number": settled.number, "status": outcome.status, "digest": outcome.digest, "body": outcome.body,
         "problem": outcome.problem, "traceback": letter.traceback if letter else None, "now": settled.now},
    )  # fmt: skip
    return done.rowcount == 1


WHAT_IF_RUNS = RunTable(
    numbers=ENTRY,
    table="quoting.what_if_copies",
    start="select r.number, r.attempt, r.request, r.rate_revision, q.quoted_on, w.trace, q.quote_number, q.revision, q.load_snapshot, r.large, "
    "true as prices_only, r.as_planned as concludes_at_once "
    "from quoting.what_if_copies r join quoting.what_ifs w on w.number = r.what_if join quoting.quotes q on q.number = w.quote",
    group="what_if",
    large="r.large",
    first_attempt="1",
    has_outbox=False,
    settle=_settle,
)
"""Copies of quotes as runs."""


class WhatIfStore:
    """What-ifs of quotes."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self.runs = Runs(database, WHAT_IF_RUNS)

    def accept(
        self, quote: str, copies: Sequence[NewCopy], key: IdempotencyKey | None, *, now: datetime, asked_by: str, caller: str, trace: str,
        bounds: Bounds,
    ) -> tuple[str, bool]:  # fmt: skip
        """Store copies of the quote in the row `quote`; the number of their what-if, and whether it is a new one.

        A key used before gives the what-if it was used for. Raises `QueueFull` or `KeyHasEnough` beyond the bounds, `IdempotencyKeyReused`.
        """

        def insert(connection: Connection) -> str:
            refuse_when_full(connection, caller, len(copies), bounds)
            position = connection.execute(text("select nextval('quoting.what_if_numbers')")).scalar_one()
            number = f"W-{now.year}-{position:06d}"
            connection.execute(
                text("insert into quoting.what_ifs (number, position, quote, created_at, asked_by, caller, trace) "
                     "values (:number, :position, :quote, :now, :asked_by, :caller, :trace)"),
                {"number": number, "position": position, "quote": quote, "now": now, "asked_by": asked_by, "caller": caller, "trace": trace},
            )  # fmt: skip
            connection.execute(
                text("insert into quoting.what_if_copies (number, what_if, place, name, request, rate_revision, work_s, large, as_planned) "
                     "values (:number, :what_if, :place, :name, :request, :rate_revision, :work_s, :large, :as_planned)"),
                [{**vars(copy), "number": f"{number}.{place + 1}", "what_if": number, "place": place} for place, copy in enumerate(copies)],
            )  # fmt: skip
            use_key(connection, key, now=now, what_if=number)
            return number

        return accept_once(self._database, key, insert, known=by_number)

    def quoted_on(self, row_number: str) -> date:
        """The day of the quote in that row."""
        with self._database.transaction() as connection:
            day = connection.execute(text("select quoted_on from quoting.quotes where number = :n"), {"n": row_number})
            return cast(date, day.scalar_one())

    def what_if(self, number: str) -> StoredWhatIf:
        """A what-if, or the one of the copy of that number; raises `WhatIfUnknown`, also for what is no number of ours."""
        head = number.split(".", maxsplit=1)[0]
        if not NUMBER.fullmatch(head):
            raise WhatIfUnknown(number)
        with self._database.transaction() as connection:
            row = connection.execute(
                text("select w.number, w.quote, q.quote_number, q.revision, q.rate_revision, q.quoted_on, w.created_at, w.asked_by "
                     "from quoting.what_ifs w join quoting.quotes q on q.number = w.quote where w.number = :n"), {"n": head},
            ).one_or_none()  # fmt: skip
        if row is None:
            raise WhatIfUnknown(number)
        return StoredWhatIf(**row._mapping)

    def copies(self, number: str) -> list[StoredCopy]:
        """The copies of a what-if, in the order they were asked for."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("select name, request, rate_revision, as_planned, status, figures, problem from quoting.what_if_copies "
                     "where what_if = :n order by place"), {"n": number},
            )  # fmt: skip
            return [
                StoredCopy(row.name, bytes(row.request), row.rate_revision, row.as_planned, row.status, _bytes(row.figures), _bytes(row.problem))
                for row in rows
            ]  # fmt: skip


def _bytes(value: bytes | memoryview | None) -> bytes | None:
    return None if value is None else bytes(value)
