"""Quotes in PostgreSQL. Each method is one transaction; times are given, never asked."""

from __future__ import annotations

import random
import zlib
from datetime import date, datetime, timedelta

from sqlalchemy import Connection, text
from sqlalchemy.exc import IntegrityError

from services.chassis.database import Database
from services.quoting.errors import QuoteUnknown, RevisionUnknown
from services.quoting.store.rows import (
    NUMBER,
    ROW_NUMBER,
    SELECT,
    DeadLetter,
    Decision,
    IdempotencyKey,
    NewQuote,
    Outcome,
    Start,
    StoredQuote,
    stored,
)
from services.quoting.store.writing import insert_quotes, note_event, refuse_when_full, start_of, use_key, used_for

OUTBOX_PATIENCE_S = 2.0
"""A start that is not marked as sent after this long is sent again."""

LONGEST_WAIT_S = 300.0

LATEST = "not exists (select 1 from quoting.quotes n where n.quote_number = q.quote_number and n.revision > q.revision)"

STATES = {
    "open": f"q.status = 'ready' and d.number is null and coalesce(o.valid_until >= :today, true) and {LATEST}",
    "expired": f"q.status = 'ready' and d.number is null and o.valid_until < :today and {LATEST}",
    "accepted": "d.decision = 'accepted'",
    "declined": "d.decision = 'declined'",
}
"""Which revisions have a state. A decision is listed whether or not the quote went on to another revision."""


class QuoteStore:
    """The tables of the quoting service."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def accept(
        self, new: NewQuote, key: IdempotencyKey | None, *, now: datetime, first_check_s: float, most_unfinished: int | None = None
    ) -> tuple[Start, bool]:
        """Store a request with its first start, all or nothing; the start, and whether it is a new one.

        A key used before gives the quote it was used for; raises `IdempotencyKeyReused` if that had another body, and
        `QueueFull` for a new request when `most_unfinished` quotes have no outcome yet (requests that come at one moment
        may pass that by their number).
        """
        try:
            with self._database.transaction() as connection:
                known = used_for(connection, key)
                if known is not None:
                    return start_of(connection, known), False
                refuse_when_full(connection, most_unfinished)
                return self._insert(connection, new, key, now, first_check_s), True
        except IntegrityError:
            # Two requests with one key at one time: the other was first, and now it can be read.
            known_start = self.start_under(key)
            if known_start is None:
                raise
            return known_start, False

    def start_under(self, key: IdempotencyKey | None) -> Start | None:
        """The start that a key was used for, `None` for a new key; raises `IdempotencyKeyReused` if it had another body."""
        if key is None:
            return None
        with self._database.transaction() as connection:
            known = used_for(connection, key)
            return None if known is None else start_of(connection, known)

    def _insert(
        self, connection: Connection, new: NewQuote, key: IdempotencyKey | None, now: datetime, first_check_s: float
    ) -> Start:
        position = connection.execute(text("select nextval('quoting.quote_numbers')")).scalar_one()
        number = f"Q-{new.quoted_on.year}-{position:06d}"
        place = {"number": number, "quote_number": number, "position": position, "revision": 1, "batch": None, "batch_place": None}
        insert_quotes(connection, [new], [place], now=now, next_check_at=now + timedelta(seconds=first_check_s))
        use_key(connection, key, now=now, number=number)
        return Start(number, 1, new.request, new.rate_revision, new.quoted_on, new.trace, number, 1)

    def sent(self, number: str, attempt: int, *, now: datetime) -> None:
        """Note that the doorbell was rung for this attempt."""
        with self._database.transaction() as connection:
            connection.execute(
                text("update quoting.outbox set sent_at = :now where number = :number and attempt = :attempt and sent_at is null"),
                {"number": number, "attempt": attempt, "now": now},
            )

    def overdue(self, *, now: datetime, most_attempts: int, most: int = 50) -> tuple[list[Start], list[Start]]:
        """Quotes to start again, each with its next attempt, and the last starts of those that have used up their attempts.

        Rows that another sweeper holds are passed over. The next look at a quote is min(5 s x 2^attempt, 5 min) away,
        with a jitter of a fifth, so that many quotes do not come due together. A look that is further away than any
        was ever set comes of a clock that went back: it is due.
        """
        starts: list[Start] = []
        exhausted: list[Start] = []
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("""
                    select number, attempt, first_attempt from quoting.quotes
                    where status = 'accepted' and (next_check_at <= :now or next_check_at > :never)
                    order by next_check_at limit :most for update skip locked
                """),
                {"now": now, "never": now + timedelta(seconds=2 * LONGEST_WAIT_S), "most": most},
            ).all()
            for row in rows:
                attempt = row.attempt + 1
                used = row.attempt - row.first_attempt + 1
                if used >= most_attempts:
                    exhausted.append(start_of(connection, row.number))
                    continue
                connection.execute(
                    text("update quoting.quotes set attempt = :attempt, next_check_at = :check where number = :number"),
                    {"number": row.number, "attempt": attempt, "check": now + timedelta(seconds=next_look_s(used + 1))},
                )
                connection.execute(
                    text("insert into quoting.outbox (number, attempt, created_at) values (:number, :attempt, :now)"),
                    {"number": row.number, "attempt": attempt, "now": now},
                )
                note_event(connection, row.number, "started_again", f"attempt {attempt}", now)
                starts.append(start_of(connection, row.number))
        return starts, exhausted

    def look_later(self, number: str, *, now: datetime) -> None:
        """Put off the next look at a quote for as long as looks are ever apart; no attempt is used up."""
        with self._database.transaction() as connection:
            connection.execute(
                text("update quoting.quotes set next_check_at = :check where number = :number and status = 'accepted'"),
                {"number": number, "check": now + timedelta(seconds=LONGEST_WAIT_S)},
            )

    def unsent(self, *, now: datetime, most: int = 200) -> list[Start]:
        """Starts whose doorbell was not rung, or not known to be. Not those of a batch whose turn has not come."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("""
                    select o.number, o.attempt from quoting.outbox o join quoting.quotes q on q.number = o.number
                    where o.sent_at is null and (o.created_at < :before or o.created_at > :after)
                      and q.status = 'accepted' and q.attempt = o.attempt and q.next_check_at is not null
                    order by o.created_at limit :most for update of o skip locked
                """),
                {
                    "before": now - timedelta(seconds=OUTBOX_PATIENCE_S),
                    "after": now + timedelta(seconds=LONGEST_WAIT_S),
                    "most": most,
                },
            ).all()
            return [start_of(connection, row.number) for row in rows]

    def settle(self, number: str, attempt: int, outcome: Outcome, *, now: datetime, letter: DeadLetter | None = None) -> bool:
        """Record what became of a quote, once: whether this was the outcome that stands.

        A later one changes nothing; if it differs from the one that stands, an event says so. One of an attempt from
        before the quote was replayed counts for nothing. A letter is kept of the outcome that stands.
        """
        with self._database.transaction() as connection:
            inserted = self._insert_outcome(connection, number, attempt, outcome, now)
            if inserted:
                connection.execute(
                    text("update quoting.quotes set status = :status, next_check_at = null where number = :number"),
                    {"number": number, "status": outcome.status},
                )
                note_event(connection, number, outcome.status, f"attempt {attempt}", now)
            else:
                stands = connection.execute(
                    text("select digest from quoting.outcomes where number = :n"), {"n": number}
                ).scalar_one_or_none()
                if stands is not None and stands != outcome.digest:
                    note_event(connection, number, "late_outcome_differs", f"attempt {attempt}, digest {outcome.digest}", now)
            if inserted and letter is not None:
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
                insert into quoting.outcomes (number, attempt, status, digest, body, blanks, operations, problem, valid_until,
                                              finished_at, feed_position)
                select :number, :attempt, :status, :digest, :body, :blanks, :operations, :problem, :valid_until, :now, {feed}
                where not exists (select 1 from quoting.outcomes where number = :number)
                  and exists (select 1 from quoting.quotes where number = :number and first_attempt <= :attempt)
                on conflict (number) do nothing
            """),  # nosec B608  `feed` is one of the two texts above
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

    def quote(self, number: str, revision: int | None = None) -> StoredQuote:
        """A quote in its latest revision, or that one. Raises `QuoteUnknown`, also for what is no number of ours, and `RevisionUnknown`."""
        if not NUMBER.fullmatch(number):
            raise QuoteUnknown(number)
        with self._database.transaction() as connection:
            row = connection.execute(
                text(
                    SELECT.format(body="o.body")
                    + " where q.quote_number = :number and (cast(:revision as int) is null or q.revision = :revision)"
                    + " order by q.revision desc limit 1"
                ),
                {"number": number, "revision": revision},
            ).one_or_none()
            if row is not None:
                return stored(row)
            latest = connection.execute(
                text("select max(revision) from quoting.quotes where quote_number = :number"), {"number": number}
            ).scalar()
        if revision is None or latest is None:
            raise QuoteUnknown(number)
        raise RevisionUnknown(number, revision, latest)

    def row(self, number: str) -> StoredQuote:
        """The revision that the row `number` holds; raises `QuoteUnknown`."""
        if not ROW_NUMBER.fullmatch(number):
            raise QuoteUnknown(number)
        with self._database.transaction() as connection:
            found = connection.execute(
                text(SELECT.format(body="o.body") + " where q.number = :number"), {"number": number}
            ).one_or_none()
        if found is None:
            raise QuoteUnknown(number)
        return stored(found)

    def sections(self, number: str) -> tuple[Start, bytes, bytes] | None:
        """Head, blank plan and operation plan that the ready quote in the row `number` was made of; `None` for any other."""
        with self._database.transaction() as connection:
            row = connection.execute(
                text("select blanks, operations from quoting.outcomes where number = :n and status = 'ready'"), {"n": number}
            ).one_or_none()
            if row is None:
                return None
            return start_of(connection, number), zlib.decompress(row.blanks), zlib.decompress(row.operations)

    def page(
        self, *, before: tuple[int, int] | None, most: int, status: str | None, state: str | None = None, today: date | None = None
    ) -> list[StoredQuote]:
        """Quotes newest first, without their bodies, each in its latest revision, from below position and revision `before`.

        With a `state` on the day `today`, revisions that are in it.
        """
        position, revision = before or (None, None)
        with self._database.transaction() as connection:
            rows = connection.execute(
                text(
                    SELECT.format(body="null::bytea")
                    + f"""
                    where (cast(:position as bigint) is null or (q.position, q.revision) < (:position, :revision))
                      and (cast(:status as text) is null or q.status = :status)
                      and {STATES[state] if state else LATEST}
                    order by q.position desc, q.revision desc limit :most
                """
                ),
                {"position": position, "revision": revision, "most": most, "status": status, "today": today},
            )
            return [stored(row) for row in rows]

    def feed(self, *, after: int, most: int) -> list[StoredQuote]:
        """Ready quotes, in the order they became ready or were accepted, from above feed position `after`, without their bodies."""
        ready = SELECT.format(body="null::bytea") + " where o.feed_position > :after"
        ordered = ready.replace("o.feed_position", "d.feed_position")
        with self._database.transaction() as connection:
            rows = connection.execute(
                text(f"{ready} union all {ordered} order by feed_position limit :most"),
                {"after": after, "most": most},
            )
            return [stored(row) for row in rows]

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
    return float(wait * (1 + 0.2 * random.random()))  # nosec B311  spreads retries; no secret


__all__ = [
    "DeadLetter",
    "Decision",
    "IdempotencyKey",
    "NewQuote",
    "Outcome",
    "QuoteStore",
    "Start",
    "StoredQuote",
    "next_look_s",
]
