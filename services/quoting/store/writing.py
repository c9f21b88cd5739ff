"""Statements that several repositories of quoting share; each runs in the transaction it is given, `kept_once` in one of its own."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, text
from sqlalchemy.exc import IntegrityError

from services.chassis.database import Database
from services.quoting.errors import IdempotencyKeyReused, QueueFull
from services.quoting.store.rows import IdempotencyKey, NewQuote, Start

_START = "select number, attempt, request, rate_revision, quoted_on, trace, quote_number, revision from quoting.quotes"


def start_of(connection: Connection, number: str) -> Start:
    """The start of the row `number` at its present attempt."""
    return as_start(connection.execute(text(_START + " where number = :number"), {"number": number}).one())


def as_start(row: Row[Any]) -> Start:
    """A row with the columns of a start as one."""
    values = dict(row._mapping)
    return Start(**{**values, "request": bytes(values["request"])})


def insert_quotes(
    connection: Connection, quotes: Sequence[NewQuote], places: Sequence[dict[str, Any]], *, now: datetime, next_check_at: datetime | None
) -> None:  # fmt: skip
    """Write accepted requests with their first starts. Each of `places` has number, quote_number, position, revision, batch, batch_place."""
    connection.execute(
        text("""
            insert into quoting.quotes (number, quote_number, position, revision, status, customer, title, request, rate_revision,
                                        quoted_on, attempt, trace, created_at, next_check_at, batch, batch_place)
            values (:number, :quote_number, :position, :revision, 'accepted', :customer, :title, :request, :rate_revision,
                    :quoted_on, 1, :trace, :now, :check, :batch, :batch_place)
        """),
        [{**vars(new), **place, "now": now, "check": next_check_at} for new, place in zip(quotes, places, strict=True)],
    )
    connection.execute(
        text("insert into quoting.outbox (number, attempt, created_at) values (:number, 1, :now)"),
        [{"number": place["number"], "now": now} for place in places],
    )


def use_key(
    connection: Connection, key: IdempotencyKey | None, *, now: datetime, number: str | None = None, batch: str | None = None,
    impact: str | None = None,
) -> None:  # fmt: skip
    """Note what a key was used for."""
    if key is not None:
        connection.execute(
            text("insert into quoting.idempotency_keys (caller, route, key, body_sha256, number, batch, impact, created_at) "
                 "values (:caller, :route, :key, :body_sha256, :number, :batch, :impact, :now)"),
            {"number": number, "batch": batch, "impact": impact, "now": now, **vars(key)},
        )  # fmt: skip


def used_for(connection: Connection, key: IdempotencyKey | None) -> str | None:
    """The row, batch or impact that a key was used for; raises `IdempotencyKeyReused` if that had another body."""
    if key is None:
        return None
    row = connection.execute(
        text("select coalesce(number, batch, impact) as number, body_sha256 from quoting.idempotency_keys "
             "where caller = :caller and route = :route and key = :key"),
        {"caller": key.caller, "route": key.route, "key": key.key},
    ).one_or_none()  # fmt: skip
    if row is None:
        return None
    if bytes(row.body_sha256) != key.body_sha256:
        raise IdempotencyKeyReused(key.key, row.number)
    return str(row.number)


def kept_once(database: Database, key: IdempotencyKey | None, insert: Callable[[Connection], str]) -> tuple[str, bool]:
    """What `insert` makes, all of it or nothing, and that it is new; or what the key was used for before.

    Raises `IdempotencyKeyReused` if that had another body. Of two requests with one key at one time the second finds the first.
    """
    try:
        with database.transaction() as connection:
            known = used_for(connection, key)
            return (known, False) if known is not None else (insert(connection), True)
    except IntegrityError:
        with database.transaction() as connection:
            known = used_for(connection, key)
        if known is None:
            raise
        return known, False


def refuse_when_full(connection: Connection, most_unfinished: int | None) -> None:
    """Raises `QueueFull` when that many quotes have no outcome yet; those of batches whose turn has not come do not count."""
    if most_unfinished is None:
        return
    counted = text(
        "select count(*) from (select 1 from quoting.quotes where status = 'accepted' and next_check_at is not null limit :most) as unfinished"
    )
    if int(connection.execute(counted, {"most": most_unfinished}).scalar_one()) >= most_unfinished:
        raise QueueFull(most_unfinished)


def note_event(connection: Connection, number: str, kind: str, detail: str, now: datetime) -> None:
    """Note what happened to a quote."""
    connection.execute(
        text("insert into quoting.events (number, kind, detail, at) values (:number, :kind, :detail, :now)"),
        {"number": number, "kind": kind, "detail": detail, "now": now},
    )
