"""Runs through the queue in PostgreSQL: one mechanism for quotes, for batches of them, for quotes held against other
rates, and for copies of quotes in which something is changed.

A run is a row with `number`, `attempt`, `status` and `next_check_at`. It is accepted, started, started again when it is overdue,
and settled once. Runs whose turn has not come wait outside the queues, without a `next_check_at`, until they are let in (`turns`);
no sweeper takes them for lost. Each method is one transaction; times are given, never asked.
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, TypeVar

from sqlalchemy import Connection, TextClause, text
from sqlalchemy.exc import IntegrityError

from services.chassis import audit
from services.chassis.database import Database
from services.quoting.errors import IdempotencyKeyReused
from services.quoting.store.rows import DeadLetter, IdempotencyKey, Outcome, Start

OUTBOX_PATIENCE_S = 2.0
"""A start that is not marked as sent after this long is sent again."""

LONGEST_WAIT_S = 300.0

Accepted = TypeVar("Accepted")


@dataclass(frozen=True)
class RunTable:
    """Where runs of one kind lie, and what is particular to them. The SQL speaks of a run's row as `r`."""

    numbers: re.Pattern[str]
    """What a run and its traveller are called."""
    table: str
    start: str
    """The query that gives a run's start at its present attempt."""
    group: str
    """The column that names the batch, impact or what-if which a run was asked for with."""
    large: str
    """Whether a run is one of much work."""
    first_attempt: str
    """The attempt from which those of a run are counted."""
    has_outbox: bool
    """Whether starts go through the outbox, and what happens is noted among the events. Without it, a start that failed comes due again."""
    settle: Callable[[Connection, Settlement], bool]
    """Records what became of a run, once: whether this was the outcome that stands."""

    def sql(self, query: str) -> TextClause:
        """A query with what is particular to this kind in the place of the names in braces."""
        return text(query.format_map(vars(self)))


@dataclass(frozen=True)
class Settlement:
    """What became of an attempt of a run, and the letter that is left of one that broke."""

    number: str
    attempt: int
    outcome: Outcome
    letter: DeadLetter | None
    now: datetime


class Runs:
    """The runs of one kind."""

    def __init__(self, database: Database, table: RunTable) -> None:
        self._database = database
        self._table = table

    def overdue(self, *, now: datetime, most_attempts: int, most: int = 50) -> tuple[list[Start], list[Start]]:
        """Runs to start again, each with its next attempt, and the last starts of those that have used up their attempts.

        Rows that another sweeper holds are passed over. The next look at a run is min(5 s x 2^attempt, 5 min) away, with a
        jitter of a fifth, so that many runs do not come due together. A look that is further away than any was ever set
        comes of a clock that went back: it is due.
        """
        starts: list[Start] = []
        exhausted: list[Start] = []
        with self._database.transaction() as connection:
            rows = connection.execute(
                self._table.sql("""
                    select r.number, r.attempt - {first_attempt} + 1 as used, {large} as large from {table} r
                    where r.status = 'accepted' and (r.next_check_at <= :now or r.next_check_at > :never)
                    order by r.next_check_at limit :most for update skip locked
                """),
                {"now": now, "never": now + timedelta(seconds=2 * LONGEST_WAIT_S), "most": most},
            ).all()
            for row in rows:
                if row.used >= most_attempts:
                    exhausted.append(start_of(connection, self._table, row.number))
                    continue
                next_check_at = now + timedelta(seconds=next_look_s(row.used + 1, large=row.large))
                connection.execute(
                    self._table.sql("update {table} set attempt = attempt + 1, next_check_at = :check where number = :number"),
                    {"number": row.number, "check": next_check_at},
                )
                begun = start_of(connection, self._table, row.number)
                if self._table.has_outbox:
                    connection.execute(
                        text("insert into quoting.outbox (number, attempt, created_at) values (:number, :attempt, :now)"),
                        {"number": begun.number, "attempt": begun.attempt, "now": now},
                    )
                    note_event(connection, begun.number, "started_again", f"attempt {begun.attempt}", now)
                starts.append(begun)
        return starts, exhausted

    def look_later(self, number: str, *, now: datetime) -> None:
        """Put off the next look at a run for as long as looks are ever apart; no attempt is used up."""
        with self._database.transaction() as connection:
            connection.execute(
                self._table.sql("update {table} set next_check_at = :check where number = :number and status = 'accepted'"),
                {"number": number, "check": now + timedelta(seconds=LONGEST_WAIT_S)},
            )

    def sent(self, number: str, attempt: int, *, now: datetime) -> None:
        """Note that the doorbell was rung for this attempt."""
        if not self._table.has_outbox:
            return
        with self._database.transaction() as connection:
            connection.execute(
                text("update quoting.outbox set sent_at = :now where number = :number and attempt = :attempt and sent_at is null"),
                {"number": number, "attempt": attempt, "now": now},
            )

    def unsent(self, *, now: datetime, most: int = 200) -> list[Start]:
        """Starts whose doorbell was not rung, or not known to be. Not those whose turn has not come."""
        if not self._table.has_outbox:
            return []
        with self._database.transaction() as connection:
            rows = connection.execute(
                self._table.sql("""
                    select o.number from quoting.outbox o join {table} r on r.number = o.number
                    where o.sent_at is null and (o.created_at < :before or o.created_at > :after)
                      and r.status = 'accepted' and r.attempt = o.attempt and r.next_check_at is not null
                    order by o.created_at limit :most for update of o skip locked
                """),
                {
                    "before": now - timedelta(seconds=OUTBOX_PATIENCE_S),
                    "after": now + timedelta(seconds=LONGEST_WAIT_S),
                    "most": most,
                },
            ).all()
            return [start_of(connection, self._table, row.number) for row in rows]

    def settle(self, number: str, attempt: int, outcome: Outcome, *, now: datetime, letter: DeadLetter | None = None) -> bool:
        """Record what became of a run, once: whether this was the outcome that stands. A later one changes nothing."""
        with self._database.transaction() as connection:
            return self._table.settle(connection, Settlement(number, attempt, outcome, letter, now))

    def cancel(
        self, column: str, named: str, outcome: Outcome, *, now: datetime, audited_as: str | None = None
    ) -> list[tuple[str, int]]:
        """Record `outcome` of every run without one whose `column` (`number` or that of its group) is `named`; those runs and their attempts.

        That it was done stands in the audit log where `audited_as` says under which name.
        Rows are not locked beforehand: a stage that records an outcome at the same moment is first or second, and never waited for in a circle.
        """
        with self._database.transaction() as connection:
            query = (
                f"select r.number, r.attempt from {{table}} r where r.{column} = :named and r.status = 'accepted' order by r.number"  # nosec B608  a column of ours
            )
            runs = connection.execute(self._table.sql(query), {"named": named}).all()
            settled = [
                (run.number, run.attempt)
                for run in runs
                if self._table.settle(connection, Settlement(run.number, run.attempt, outcome, None, now))
            ]
            if settled and audited_as is not None:
                audit.record(connection, action=audited_as, subject=named, at=now, details={"quotes": len(settled)})
            return settled

    def counts(self, group: str) -> dict[str, int]:
        """How many runs that were asked for together have which status."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                self._table.sql("select status, count(*) as runs from {table} where {group} = :group group by status"),
                {"group": group},
            )
            return {row.status: row.runs for row in rows}

    def is_finished(self, group: str) -> bool:
        """Whether every run that was asked for together has its outcome."""
        with self._database.transaction() as connection:
            return not connection.execute(
                self._table.sql("select exists (select 1 from {table} where {group} = :group and status = 'accepted')"),
                {"group": group},
            ).scalar()


def accept_once(
    database: Database,
    key: IdempotencyKey | None,
    insert: Callable[[Connection], Accepted],
    *,
    known: Callable[[Connection, str], Accepted],
    lock: Callable[[Connection], object] = lambda connection: None,
) -> tuple[Accepted, bool]:
    """What `insert` makes, all of it or nothing, and that it is new; or as `known` reads it what the key was used for before.

    Raises `IdempotencyKeyReused` if that had another body. Of two requests with one key at one time the second finds the first.
    What `lock` holds is held before the key is looked up.
    """
    try:
        with database.transaction() as connection:
            lock(connection)
            number = used_for(connection, key)
            return (known(connection, number), False) if number is not None else (insert(connection), True)
    except IntegrityError:
        # Two requests with one key at one time: the other was first, and now it can be read.
        before = accepted_before(database, key, known=known)
        if before is None:
            raise
        return before, False


def accepted_before(
    database: Database, key: IdempotencyKey | None, *, known: Callable[[Connection, str], Accepted]
) -> Accepted | None:
    """What a key was used for, as `known` reads it, `None` for a new key; raises `IdempotencyKeyReused` if it had another body."""
    if key is None:
        return None
    with database.transaction() as connection:
        number = used_for(connection, key)
        return None if number is None else known(connection, number)


def by_number(connection: Connection, number: str) -> str:
    """The number of what was accepted, for those who need no more of it."""
    return number


def used_for(connection: Connection, key: IdempotencyKey | None) -> str | None:
    """The row, batch, impact or what-if that a key was used for; raises `IdempotencyKeyReused` if that had another body."""
    if key is None:
        return None
    row = connection.execute(
        text("select coalesce(number, batch, impact, what_if) as number, body_sha256 from quoting.idempotency_keys "
             "where caller = :caller and route = :route and key = :key"),
        {"caller": key.caller, "route": key.route, "key": key.key},
    ).one_or_none()  # fmt: skip
    if row is None:
        return None
    if bytes(row.body_sha256) != key.body_sha256:
        raise IdempotencyKeyReused(key.key, row.number)
    return str(row.number)


def use_key(
    connection: Connection, key: IdempotencyKey | None, *, now: datetime, number: str | None = None, batch: str | None = None,
    impact: str | None = None, what_if: str | None = None,
) -> None:  # fmt: skip
    """Note what a key was used for."""
    if key is not None:
        connection.execute(
            text("insert into quoting.idempotency_keys (caller, route, key, body_sha256, number, batch, impact, what_if, created_at) "
                 "values (:caller, :route, :key, :body_sha256, :number, :batch, :impact, :what_if, :now)"),
            {"number": number, "batch": batch, "impact": impact, "what_if": what_if, "now": now, **vars(key)},
        )  # fmt: skip


def start_of(connection: Connection, table: RunTable, number: str) -> Start:
    """The start of the run `number` at its present attempt."""
    return as_start(connection.execute(table.sql("{start} where r.number = :number"), {"number": number}).one())


def as_start(row: Any) -> Start:
    """A row with the columns of a start as one."""
    values = dict(row._mapping)
    return Start(**{**values, "request": bytes(values["request"])})


def note_event(connection: Connection, number: str, kind: str, detail: str, now: datetime) -> None:
    """Note what happened to a run of those that have events."""
    connection.execute(
        text("insert into quoting.events (number, kind, detail, at) values (:number, :kind, :detail, :now)"),
        {"number": number, "kind": kind, "detail": detail, "now": now},
    )


def first_look_s(first_check_s: float, *, large: bool) -> float:
    """Seconds until a run that was started is looked after: one of much work is given the longest wait there is."""
    return LONGEST_WAIT_S if large else first_check_s


def next_look_s(attempt: int, *, large: bool = False) -> float:
    """Seconds until a run on that attempt is looked at again: min(5 x 2^attempt, 300), of much work 300, plus up to a fifth of it."""
    wait = LONGEST_WAIT_S if large else min(5.0 * 2**attempt, LONGEST_WAIT_S)
    return float(wait * (1 + 0.2 * random.random()))  # nosec B311  spreads retries; no secret
