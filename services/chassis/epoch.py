"""Epochs of a database: one begins with the first migration, and another whenever a backup was restored.

What was given out between the backup and its restore is in no table any more: numbers of quotes, positions of feeds, cursors. So an epoch
begins above all of it. Where the highest number is known (the database that is replaced still answers, or who restores says it) numbers
go on from there; where it is not, they go on from the clock, which no earlier epoch can have reached.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy import Connection, text

from services.chassis import audit
from services.chassis.database import Database

CLOCK_BEGINS = datetime(2026, 1, 1, tzinfo=UTC)
A_MINUTE = 10_000
"""Numbers that an epoch may give out in a minute, on the average of all its time, before the next one could meet it."""
A_MINUTE_OF_FEW = 100
"""The same of what is rare: revisions, snapshots. Their numbers are of four bytes, which lasts until 2066."""
ROUND = 1000
"""A known highest number is passed to the next of these, and one further, for what was under way and not yet seen."""


@dataclass(frozen=True)
class Epoch:
    """One epoch. `token` is what cursors carry; `first_number` that from which numbers of four bytes go on."""

    number: int
    token: str
    first_number: int
    began_at: datetime
    why: str


def current_epoch(connection: Connection) -> Epoch:
    """The epoch that goes on."""
    row = connection.execute(text("select * from chassis.epochs order by number desc limit 1")).one()
    return Epoch(**row._mapping)


def first_free(connection: Connection, latest: int) -> int:
    """The number after `latest`, or the first of this epoch if that is higher."""
    return max(latest + 1, current_epoch(connection).first_number)


def numbers_given(connection: Connection, schemas: Iterable[str]) -> dict[str, int]:
    """The last number that each sequence in these schemas gave out, by its name with its schema; 0 for one that gave none."""
    rows = connection.execute(
        text("select schemaname || '.' || sequencename as name, coalesce(last_value, 0) as last from pg_sequences "
             "where schemaname = any(:schemas) order by 1"),
        {"schemas": list(schemas)},
    )  # fmt: skip
    return {row.name: int(row.last) for row in rows}


def begin_epoch(
    database: Database, schemas: Iterable[str], *, now: datetime, why: str, seen: Mapping[str, int] | None = None
) -> Epoch:  # fmt: skip
    """Begin the next epoch: every sequence of these schemas goes on above all it ever gave out.

    `seen` has the highest numbers that are known to have been given out, by the name of their sequence.
    """
    known = seen or {}
    minutes = max(1, int((now - CLOCK_BEGINS).total_seconds() // 60))
    with database.transaction() as connection:
        before = current_epoch(connection)
        for name, last in numbers_given(connection, schemas).items():
            small = connection.execute(
                text("select data_type::text = 'integer' from pg_sequences where schemaname || '.' || sequencename = :n"),
                {"n": name},
            ).scalar_one()
            last_given = above(last, known.get(name), minutes * (A_MINUTE_OF_FEW if small else A_MINUTE))
            connection.execute(text("select setval(cast(:n as regclass), :last)"), {"n": name, "last": last_given})
        made = Epoch(
            number=before.number + 1,
            token=secrets.token_hex(6),
            first_number=max(before.first_number, minutes * A_MINUTE_OF_FEW),
            began_at=now,
            why=why,
        )
        connection.execute(
            text(
                "insert into chassis.epochs (number, token, first_number, began_at, why) values (:number, :token, :first_number, :began_at, :why)"
            ),
            vars(made),
        )
        audit.record(connection, action="database.restore", subject=f"epoch {made.number}", at=now, details={"why": why})
    return made


def above(last: int, seen: int | None, by_the_clock: int) -> int:
    """The number that a new epoch takes for the last one given: above the table's `last` and what was `seen`, or what the clock says."""
    if seen is None:
        return max(last, by_the_clock)
    return (max(last, seen) // ROUND + 2) * ROUND
