"""What quoting forgets when its time is over, in PostgreSQL: a small batch at a time, so that nobody waits behind it. Never a quote."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import Connection, text

from services.chassis.database import Database

BATCH = 1000


@dataclass(frozen=True)
class KeptDays:
    """For how long each kind of row is kept [days]."""

    outbox: int
    events: int
    idempotency_keys: int
    letters: int
    impacts: int
    what_ifs: int
    deliveries: int


_UNDER_WAY = "exists (select 1 from quoting.quotes q where q.number = {row}.number and q.status = 'accepted')"

WHERE = {
    "outbox": ("outbox o", "o.sent_at < :before and not " + _UNDER_WAY.format(row="o")),
    "events": ("events e", "e.at < :before and not " + _UNDER_WAY.format(row="e")),
    "idempotency_keys": ("idempotency_keys k", "k.created_at < :before"),
    "letters": ("dead_letters d", "d.replayed_at < :before and not " + _UNDER_WAY.format(row="d")),
    "impacts": ("impacts i", "i.created_at < :before"),
    "what_ifs": ("what_ifs w", "w.created_at < :before"),
    "deliveries": ("webhook_deliveries w", "w.settled_at < :before"),
}
"""Table and condition of what is forgotten of each kind. What belongs to a quote under way stays."""


def forget(database: Database, kept: KeptDays, *, now: datetime, most_batches: int = 100) -> dict[str, int]:
    """Delete what is older than it is kept; how many rows of each kind."""
    return {
        kind: sum(_batches(database, kind, before=now - timedelta(days=getattr(kept, kind)), most=most_batches)) for kind in WHERE
    }


def _batches(database: Database, kind: str, *, before: datetime, most: int) -> Iterator[int]:
    for _ in range(most):
        with database.transaction() as connection:
            gone = _forget_batch(connection, kind, before)
        yield gone
        if gone < BATCH:
            return


def _forget_batch(connection: Connection, kind: str, before: datetime) -> int:
    table, condition = WHERE[kind]
    row = table.split()[1]
    delete = f"""
        delete from quoting.{table} where {row}.ctid = any(array(
            select {row}.ctid from quoting.{table} where {condition} limit {BATCH} for update of {row} skip locked))
    """  # nosec B608  nothing but the table above
    if kind != "events":
        return connection.execute(text(delete), {"before": before}).rowcount
    # Counters count events; those that go are counted on beside them, so that no counter ever goes back.
    gone = connection.execute(
        text(f"""
            with gone as ({delete} returning e.kind),
                 kinds as (select kind, count(*) as many from gone group by kind),
                 counted as (insert into quoting.forgotten_events as f (kind, many) select kind, many from kinds
                             on conflict (kind) do update set many = f.many + excluded.many)
            select coalesce(sum(many), 0) from kinds
        """),  # nosec B608  nothing but the text above
        {"before": before},
    )
    return int(gone.scalar_one())
