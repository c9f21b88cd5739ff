"""Requests in bulk, in PostgreSQL: accepted together, and admitted to the queues a few at a time."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import Connection, text

from services.chassis.database import Database
from services.quoting.errors import BatchUnknown
from services.quoting.store.bounds import NO_BOUNDS, Bounds, refuse_when_full
from services.quoting.store.repository import QUOTE_RUNS, insert_quotes
from services.quoting.store.rows import NO_BODY, SELECT, IdempotencyKey, NewQuote, StoredBatch, StoredQuote, stored
from services.quoting.store.runs import Runs, accept_once, by_number, use_key

NUMBER = re.compile(r"B-\d{4}-\d{6,12}", re.ASCII)
"""What a batch is called: year and position."""


class BatchStore:
    """Batches of quotes."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self.runs = Runs(database, QUOTE_RUNS)

    def accept(
        self, quotes: Sequence[NewQuote], key: IdempotencyKey | None, *, now: datetime, bounds: Bounds = NO_BOUNDS
    ) -> tuple[str, bool]:
        """Store requests and their first starts, all or nothing; the batch's number, and whether it is a new one.

        A key used before gives the batch it was used for; raises `IdempotencyKeyReused` if that had another body, `QueueFull` or
        `KeyHasEnough` beyond the bounds.
        """

        def insert(connection: Connection) -> str:
            refuse_when_full(connection, quotes[0].caller, len(quotes), bounds)
            number = self._insert(connection, quotes, now)
            use_key(connection, key, now=now, batch=number)
            return number

        return accept_once(self._database, key, insert, known=by_number)

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
        return StoredBatch(row.number, row.size, row.created_at, self.runs.counts(number))

    def numbers(self, number: str) -> tuple[str, ...]:
        """Numbers of a batch's quotes, in the order of its requests."""
        with self._database.transaction() as connection:
            numbers = connection.execute(
                text("select quote_number from quoting.quotes where batch = :n order by batch_place"), {"n": number}
            )
            return tuple(numbers.scalars())

    def page(self, number: str, *, first: int, most: int) -> list[StoredQuote]:
        """Quotes of a batch in the order of its requests, from place `first` on, without their bodies."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text(
                    SELECT.format(body=NO_BODY)
                    + " where q.batch = :n and q.batch_place >= :first order by q.batch_place limit :most"
                ),
                {"n": number, "first": first, "most": most},
            )
            return [stored(row) for row in rows]
