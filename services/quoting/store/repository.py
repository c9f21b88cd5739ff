"""Quotes in PostgreSQL. Each method is one transaction; times are given, never asked."""

from __future__ import annotations

import random
import re
import zlib
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import Connection, text
from sqlalchemy.exc import IntegrityError

from services.chassis.database import Database
from services.quoting.errors import IdempotencyKeyReused, QuoteUnknown

OUTBOX_PATIENCE_S = 2.0
"""A start that is not marked as sent after this long is sent again."""

LONGEST_WAIT_S = 300.0

NUMBER = re.compile(r"Q-\d{4}-\d{6,12}", re.ASCII)
"""What a quote is called: year and position."""


@dataclass(frozen=True)
class NewQuote:
    """A request about to be accepted."""

    request: bytes
    customer: str
    title: str
    rate_revision: int
    quoted_on: date
    trace: str


@dataclass(frozen=True)
class IdempotencyKey:
    """A caller's own name for a request, with the SHA-256 of its body."""

    caller: str
    route: str
    key: str
    body_sha256: bytes


@dataclass(frozen=True)
class Start:
    """A traveller to be started: all that is needed to make its head and to ring the first doorbell."""

    number: str
    attempt: int
    request: bytes
    rate_revision: int
    quoted_on: date
    trace: str


@dataclass(frozen=True)
class Outcome:
    """What became of an attempt. `body` for a ready quote, `problem` for any other; `digest` of whichever it is.

    `blanks` and `operations` are the sections that the body was made of; they are kept to explain it with.
    """

    status: str
    digest: str
    body: bytes | None = None
    blanks: bytes | None = None
    operations: bytes | None = None
    problem: bytes | None = None


@dataclass(frozen=True)
class DeadLetter:
    """What is kept of a stage that broke, for an operator."""

    stage: str
    problem: bytes
    traceback: str
    versions: str


@dataclass(frozen=True)
class StoredQuote:
    """A quote as it lies in the table, with its outcome if it has one."""

    number: str
    position: int
    revision: int
    status: str
    customer: str
    title: str
    rate_revision: int
    attempt: int
    created_at: datetime
    finished_at: datetime | None
    digest: str | None
    body: bytes | None
    problem: bytes | None
    feed_position: int | None


_SELECT = """
    select q.number, q.position, q.revision, q.status, q.customer, q.title, q.rate_revision, q.attempt, q.created_at,
           o.finished_at, o.digest, {body} as body, o.problem, o.feed_position
    from quoting.quotes q left join quoting.outcomes o on o.number = q.number
"""


class QuoteStore:
    """The tables of the quoting service."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def accept(self, new: NewQuote, key: IdempotencyKey | None, *, now: datetime, first_check_s: float) -> tuple[Start, bool]:
        """Store a request with its first start, all or nothing; the start, and whether it is a new one.

        A key used before gives the quote it was used for; raises `IdempotencyKeyReused` if that had another body.
        """
        try:
            with self._database.transaction() as connection:
                known = self._used_key(connection, key)
                return (known, False) if known is not None else (self._insert(connection, new, key, now, first_check_s), True)
        except IntegrityError:
            # Two requests with one key at one time: the other was first, and now it can be read.
            with self._database.transaction() as connection:
                known = self._used_key(connection, key)
            if known is None:
                raise
            return known, False

    def _used_key(self, connection: Connection, key: IdempotencyKey | None) -> Start | None:
        if key is None:
            return None
        row = connection.execute(
            text(
                "select number, body_sha256 from quoting.idempotency_keys where caller = :caller and route = :route and key = :key"
            ),
            {"caller": key.caller, "route": key.route, "key": key.key},
        ).one_or_none()
        if row is None:
            return None
        if bytes(row.body_sha256) != key.body_sha256:
            raise IdempotencyKeyReused(key.key, row.number)
        return self._start(connection, row.number)

    def _insert(
        self, connection: Connection, new: NewQuote, key: IdempotencyKey | None, now: datetime, first_check_s: float
    ) -> Start:
        position = connection.execute(text("select nextval('quoting.quote_numbers')")).scalar_one()
        number = f"Q-{new.quoted_on.year}-{position:06d}"
        connection.execute(
            text("""
                insert into quoting.quotes (number, position, status, customer, title, request, rate_revision, quoted_on, attempt, trace,
                                            created_at, next_check_at)
                values (:number, :position, 'accepted', :customer, :title, :request, :rate_revision, :quoted_on, 1, :trace, :now, :check)
            """),
            {"number": number, "position": position, "now": now, "check": now + timedelta(seconds=first_check_s), **vars(new)},
        )
        if key is not None:
            connection.execute(
                text("insert into quoting.idempotency_keys (caller, route, key, body_sha256, number, created_at) "
                     "values (:caller, :route, :key, :body_sha256, :number, :now)"),
                {"number": number, "now": now, **vars(key)},
            )  # fmt: skip
        connection.execute(
            text("insert into quoting.outbox (number, attempt, created_at) values (:number, 1, :now)"),
            {"number": number, "now": now},
        )
        return Start(number, 1, new.request, new.rate_revision, new.quoted_on, new.trace)

    def _start(self, connection: Connection, number: str) -> Start:
        row = connection.execute(
            text("select number, attempt, request, rate_revision, quoted_on, trace from quoting.quotes where number = :number"),
            {"number": number},
        ).one()
        return Start(row.number, row.attempt, bytes(row.request), row.rate_revision, row.quoted_on, row.trace)

    def sent(self, number: str, attempt: int, *, now: datetime) -> None:
        """Note that the doorbell was rung for this attempt."""
        with self._database.transaction() as connection:
            connection.execute(
                text("update quoting.outbox set sent_at = :now where number = :number and attempt = :attempt and sent_at is null"),
                {"number": number, "attempt": attempt, "now": now},
            )

    def overdue(self, *, now: datetime, most_attempts: int, most: int = 50) -> tuple[list[Start], list[str]]:
        """Quotes to start again, each with its next attempt, and numbers of those that have used up their attempts.

        Rows that another sweeper holds are passed over. The next look at a quote is min(5 s x 2^attempt, 5 min) away,
        with a jitter of a fifth, so that many quotes do not come due together.
        """
        starts: list[Start] = []
        exhausted: list[str] = []
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("""
                    select number, attempt from quoting.quotes where status = 'accepted' and next_check_at <= :now
                    order by next_check_at limit :most for update skip locked
                """),
                {"now": now, "most": most},
            ).all()
            for row in rows:
                attempt = row.attempt + 1
                if attempt > most_attempts:
                    exhausted.append(row.number)
                    continue
                connection.execute(
                    text("update quoting.quotes set attempt = :attempt, next_check_at = :check where number = :number"),
                    {"number": row.number, "attempt": attempt, "check": now + timedelta(seconds=next_look_s(attempt))},
                )
                connection.execute(
                    text("insert into quoting.outbox (number, attempt, created_at) values (:number, :attempt, :now)"),
                    {"number": row.number, "attempt": attempt, "now": now},
                )
                _event(connection, row.number, "started_again", f"attempt {attempt}", now)
                starts.append(self._start(connection, row.number))
        return starts, exhausted

    def unsent(self, *, now: datetime, most: int = 200) -> list[Start]:
        """Starts whose doorbell was not rung, or not known to be."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("""
                    select o.number, o.attempt from quoting.outbox o join quoting.quotes q on q.number = o.number
                    where o.sent_at is null and o.created_at < :before and q.status = 'accepted' and q.attempt = o.attempt
                    order by o.created_at limit :most for update of o skip locked
                """),
                {"before": now - timedelta(seconds=OUTBOX_PATIENCE_S), "most": most},
            ).all()
            return [self._start(connection, row.number) for row in rows]

    def settle(self, number: str, attempt: int, outcome: Outcome, *, now: datetime, letter: DeadLetter | None = None) -> bool:
        """Record what became of a quote, once: whether this was the outcome that stands.

        A later one changes nothing; if it differs from the one that stands, an event says so.
        """
        with self._database.transaction() as connection:
            inserted = self._insert_outcome(connection, number, attempt, outcome, now)
            if inserted:
                connection.execute(
                    text("update quoting.quotes set status = :status, next_check_at = null where number = :number"),
                    {"number": number, "status": outcome.status},
                )
                _event(connection, number, outcome.status, f"attempt {attempt}", now)
            else:
                stands = connection.execute(
                    text("select digest from quoting.outcomes where number = :n"), {"n": number}
                ).scalar_one()
                if stands != outcome.digest:
                    _event(connection, number, "late_outcome_differs", f"attempt {attempt}, digest {outcome.digest}", now)
            if letter is not None:
                connection.execute(
                    text("insert into quoting.dead_letters (number, attempt, stage, problem, traceback, versions, at) "
                         "values (:number, :attempt, :stage, :problem, :traceback, :versions, :now)"),
                    {"number": number, "attempt": attempt, "now": now, **vars(letter)},
                )  # fmt: skip
            return inserted

    def _insert_outcome(self, connection: Connection, number: str, attempt: int, outcome: Outcome, now: datetime) -> bool:
        if outcome.status == "ready":
            # Positions in the feed become visible in their order only if they are given out one transaction at a time.
            connection.execute(text("select pg_advisory_xact_lock(7460214)"))
        feed = "nextval('quoting.feed_positions')" if outcome.status == "ready" else "null"
        done = connection.execute(
            text(f"""
                insert into quoting.outcomes (number, attempt, status, digest, body, blanks, operations, problem, finished_at,
                                              feed_position)
                select :number, :attempt, :status, :digest, :body, :blanks, :operations, :problem, :now, {feed}
                where not exists (select 1 from quoting.outcomes where number = :number)
                on conflict (number) do nothing
            """),
            {"number": number, "attempt": attempt, "now": now, **vars(outcome), "blanks": _packed(outcome.blanks),
             "operations": _packed(outcome.operations)},
        )  # fmt: skip
        return done.rowcount == 1

    def is_settled(self, number: str) -> bool:
        """Whether the quote has its outcome."""
        with self._database.transaction() as connection:
            return bool(
                connection.execute(text("select exists (select 1 from quoting.outcomes where number = :n)"), {"n": number}).scalar()
            )

    def quote(self, number: str) -> StoredQuote:
        """The quote with its outcome; raises `QuoteUnknown`, also for what is no number of ours."""
        if not NUMBER.fullmatch(number):
            raise QuoteUnknown(number)
        with self._database.transaction() as connection:
            row = connection.execute(
                text(_SELECT.format(body="o.body") + " where q.number = :number"), {"number": number}
            ).one_or_none()
        if row is None:
            raise QuoteUnknown(number)
        return _stored(row)

    def sections(self, number: str) -> tuple[Start, bytes, bytes] | None:
        """Head, blank plan and operation plan that a ready quote was made of; `None` for any other quote."""
        with self._database.transaction() as connection:
            row = connection.execute(
                text("select blanks, operations from quoting.outcomes where number = :n and status = 'ready'"), {"n": number}
            ).one_or_none()
            if row is None:
                return None
            return self._start(connection, number), zlib.decompress(row.blanks), zlib.decompress(row.operations)

    def page(self, *, before: int | None, most: int, status: str | None) -> list[StoredQuote]:
        """Quotes newest first, without their bodies, from below position `before`."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text(
                    _SELECT.format(body="null::bytea")
                    + """
                    where (cast(:before as bigint) is null or q.position < :before)
                      and (cast(:status as text) is null or q.status = :status)
                    order by q.position desc limit :most
                """
                ),
                {"before": before, "most": most, "status": status},
            )
            return [_stored(row) for row in rows]

    def feed(self, *, after: int, most: int) -> list[StoredQuote]:
        """Ready quotes, in the order they became ready, from above feed position `after`, without their bodies."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text(_SELECT.format(body="null::bytea") + " where o.feed_position > :after order by o.feed_position limit :most"),
                {"after": after, "most": most},
            )
            return [_stored(row) for row in rows]

    def events(self, number: str) -> list[tuple[str, str, datetime]]:
        """What happened to a quote: kind, detail, when."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("select kind, detail, at from quoting.events where number = :n order by id"), {"n": number}
            )
            return [(row.kind, row.detail, row.at) for row in rows]


def _packed(section: bytes | None) -> bytes | None:
    return None if section is None else zlib.compress(section, 1)


def next_look_s(attempt: int) -> float:
    """Seconds until a quote on that attempt is looked at again: min(5 x 2^attempt, 300), plus up to a fifth of it."""
    wait = min(5.0 * 2**attempt, LONGEST_WAIT_S)
    return float(wait * (1 + 0.2 * random.random()))


def _event(connection: Connection, number: str, kind: str, detail: str, now: datetime) -> None:
    connection.execute(
        text("insert into quoting.events (number, kind, detail, at) values (:number, :kind, :detail, :now)"),
        {"number": number, "kind": kind, "detail": detail, "now": now},
    )


def _stored(row: Any) -> StoredQuote:
    values = dict(row._mapping)
    for name in ("body", "problem"):
        values[name] = bytes(values[name]) if values[name] is not None else None
    return StoredQuote(**values)


__all__ = [
    "DeadLetter",
    "IdempotencyKey",
    "NewQuote",
    "Outcome",
    "QuoteStore",
    "Start",
    "StoredQuote",
    "next_look_s",
]
