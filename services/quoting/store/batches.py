"""Requests in bulk, in PostgreSQL: accepted together, and let into the queues a few at a time.

A quote of a batch whose turn has not come has no `next_check_at`; no sweeper takes it for lost.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy import Connection, text

from services.chassis.database import Database
from services.quoting.errors import BatchUnknown
from services.quoting.store.rows import SELECT, IdempotencyKey, NewQuote, Start, StoredBatch, StoredQuote, stored
from services.quoting.store.writing import as_start, insert_quotes, kept_once, use_key, used_for

NUMBER = re.compile(r"B-\d{4}-\d{6,12}", re.ASCII)
"""What a batch is called: year and position."""


class BatchStore:
    """Batches of quotes."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def accept(self, quotes: Sequence[NewQuote], key: IdempotencyKey | None, *, now: datetime) -> tuple[str, bool]:
        """Store requests and their first starts, all or nothing; the batch's number, and whether it is a new one.

        A key used before gives the batch it was used for; raises `IdempotencyKeyReused` if that had another body.
        """

        def insert(connection: Connection) -> str:
            number = self._insert(connection, quotes, now)
            use_key(connection, key, now=now, batch=number)
            return number

        return kept_once(self._database, key, insert)

    def under(self, key: IdempotencyKey | None) -> str | None:
        """The batch that a key was used for, `None` for a new key; raises `IdempotencyKeyReused` if it had another body."""
        if key is None:
            return None
        with self._database.transaction() as connection:
            return used_for(connection, key)

    def _insert(self, connection: Connection, quotes: Sequence[NewQuote], now: datetime) -> str:
        position = connection.execute(text("select nextval('quoting.batch_numbers')")).scalar_one()
        batch = f"B-{now.year}-{position:06d}"
        connection.execute(
            text("insert into quoting.batches (number, position, size, created_at) values (:number, :position, :size, :now)"),
            {"number": batch, "position": position, "size": len(quotes), "now": now},
        )
        drawn = connection.execute(
            text("select nextval('quoting.quote_numbers') from generate_series(1, :size)"), {"size": len(quotes)}
        ).scalars()
        places = []
        for place, (new, at) in enumerate(zip(quotes, drawn, strict=True)):
            number = f"Q-{new.quoted_on.year}-{at:06d}"
            places.append(
                {"number": number, "quote_number": number, "position": at, "revision": 1, "batch": batch, "batch_place": place}
            )
        insert_quotes(connection, quotes, places, now=now, next_check_at=None)
        return batch

    def let_in(self, *, most_in_flight: int, now: datetime, first_check_s: float) -> list[Start]:
        """Quotes of batches whose turn has come, oldest first: as many as keeps those under way at `most_in_flight`.

        Two who ask at once may let in a few more; the next ones let in fewer.
        """
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("""
                    select number from quoting.quotes
                    where batch is not null and status = 'accepted' and next_check_at is null
                    order by position
                    limit greatest(0, :most - (
                        select count(*) from quoting.quotes
                        where batch is not null and status = 'accepted' and next_check_at is not null
                    ))
                    for update skip locked
                """),
                {"most": most_in_flight},
            ).scalars()
            numbers = list(rows)
            if not numbers:
                return []
            connection.execute(
                text("update quoting.outbox set created_at = :now where number = any(:numbers)"), {"now": now, "numbers": numbers}
            )
            begun = connection.execute(
                text("""
                    update quoting.quotes set next_check_at = :check where number = any(:numbers)
                    returning number, attempt, request, rate_revision, quoted_on, trace, quote_number, revision
                """),
                {"check": now + timedelta(seconds=first_check_s), "numbers": numbers},
            )
            return [as_start(row) for row in begun]

    def batch(self, number: str) -> StoredBatch:
        """A batch and how far it is; raises `BatchUnknown`, also for what is no number of ours."""
        if not NUMBER.fullmatch(number):
            raise BatchUnknown(number)
        with self._database.transaction() as connection:
            row = connection.execute(
                text("select number, size, created_at from quoting.batches where number = :n"), {"n": number}
            ).one_or_none()
            if row is None:
                raise BatchUnknown(number)
            counts = connection.execute(
                text("select status, count(*) as quotes from quoting.quotes where batch = :n group by status"), {"n": number}
            )
            return StoredBatch(row.number, row.size, row.created_at, {one.status: one.quotes for one in counts})

    def is_finished(self, number: str) -> bool:
        """Whether every quote of a batch has its outcome."""
        with self._database.transaction() as connection:
            return not connection.execute(
                text("select exists (select 1 from quoting.quotes where batch = :n and status = 'accepted')"), {"n": number}
            ).scalar()

    def numbers(self, number: str) -> tuple[str, ...]:
        """Numbers of a batch's quotes, in the order of its requests."""
        with self._database.transaction() as connection:
            found = connection.execute(
                text("select quote_number from quoting.quotes where batch = :n order by batch_place"), {"n": number}
            )
            return tuple(found.scalars())

    def page(self, number: str, *, first: int, most: int) -> list[StoredQuote]:
        """Quotes of a batch in the order of its requests, from place `first` on, without their bodies."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text(
                    SELECT.format(body="null::bytea")
                    + " where q.batch = :n and q.batch_place >= :first order by q.batch_place limit :most"
                ),
                {"n": number, "first": first, "most": most},
            )
            return [stored(row) for row in rows]
