"""The audit log in PostgreSQL: an entry is written in the transaction of the change that it tells of, so there is none without the other.

Entries are only added. Whoever adds one holds an advisory lock until its transaction ends, so that each follows the last; take it as the last of
the locks of a transaction, and late. What happens often, such as a quote, is not audited.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextvars import ContextVar
from datetime import datetime
from typing import Any, Protocol

from sqlalchemy import Connection, text

from services.chassis.database import Database
from services.chassis.problems import clean
from shared_schemas.audit import BEGINNING, AuditEntry, canonical_details, hash_of_entry

LOCK = 7_460_219
"""Number of the advisory lock under which entries follow one another."""

OF_THE_SUITE = "blankwright"
"""Who did what no key asked for."""

MOST_SUBJECT = 200
READ_AT_ONCE = 1_000

LAST = """
    select greatest(coalesce(last.number, 0) + 1, epoch.first) as next, last.hash
    from (select max(first_number) as first from chassis.epochs) epoch
    left join (select number, hash from chassis.audit order by number desc limit 1) last on true
"""
"""The hash of the last entry, and the number of the next: no number is given out twice, not even after a backup was restored."""


class Asking(Protocol):
    """Who asks, by the id of the key and whose that is."""

    @property
    def key_id(self) -> str: ...
    @property
    def label(self) -> str: ...


asking: ContextVar[Asking | None] = ContextVar("asking", default=None)
"""Who asks for what is being done here; the door sets it for each request."""


def lock(connection: Connection) -> None:
    """Let no other entry be added until this transaction ends: for whoever has to look before the change that it records."""
    connection.execute(text("select pg_advisory_xact_lock(:n)"), {"n": LOCK})


def record(
    connection: Connection, *, action: str, subject: str, at: datetime, details: dict[str, Any] | None = None,
    by: str | None = None, label: str = "",
) -> int:  # fmt: skip
    """Add an entry in the transaction of `connection`; its number.

    `by` and `label` are those of the key that asks, unless given. Never a key or a token: whatever stands in `details` is shown.
    """
    caller = asking.get()
    if by is None:
        by, label = (caller.key_id, caller.label) if caller is not None else (OF_THE_SUITE, label)
    lock(connection)
    before = connection.execute(text(LAST)).one()
    entry = {
        "number": before.next,
        "at": at,
        "action": action,
        "by": by,
        "label": clean(label),
        "subject": clean(subject)[:MOST_SUBJECT],
        "previous": before.hash or BEGINNING,
    }
    known = _cleaned(details or {})
    row = entry | {"details": canonical_details(known), "hash": hash_of_entry(**entry, details=known)}
    connection.execute(
        text("insert into chassis.audit (number, at, action, by_key, label, subject, details, previous, hash) "
             "values (:number, :at, :action, :by, :label, :subject, :details, :previous, :hash)"),
        row,
    )  # fmt: skip
    return int(entry["number"])


def _cleaned(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _cleaned(inner) for name, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [_cleaned(inner) for inner in value]
    return clean(value) if isinstance(value, str) else value


COLUMNS = "number, at, action, by_key as by, label, subject, details, previous, hash"


class AuditLog:
    """The entries, to be read."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def page(
        self, *, before: int | None = None, after: int | None = None, most: int, action: str | None = None,
        subject: str | None = None, by: str | None = None,
    ) -> list[AuditEntry]:  # fmt: skip
        """Entries newest first from below number `before`, or oldest first from above `after`; of that action, subject or key when asked so."""
        order = "desc" if after is None else "asc"
        with self._database.transaction() as connection:
            rows = connection.execute(
                text(f"select {COLUMNS} from chassis.audit where (cast(:before as bigint) is null or number < :before) "  # nosec B608  columns of ours
                     "and (cast(:after as bigint) is null or number > :after) "
                     "and (cast(:action as text) is null or action = :action) and (cast(:subject as text) is null or subject = :subject) "
                     f"and (cast(:by as text) is null or by_key = :by) order by number {order} limit :most"),
                {"before": before, "after": after, "most": most, "action": action, "subject": subject, "by": by},
            )  # fmt: skip
            return [_entry(row) for row in rows]

    def entries(self, *, after: int = 0) -> Iterator[AuditEntry]:
        """Every entry from above number `after`, oldest first, read some at a time."""
        while True:
            with self._database.transaction() as connection:
                rows = connection.execute(
                    text(f"select {COLUMNS} from chassis.audit where number > :after order by number limit :most"),  # nosec B608  columns of ours
                    {"after": after, "most": READ_AT_ONCE},
                ).all()
            yield from map(_entry, rows)
            if len(rows) < READ_AT_ONCE:
                return
            after = rows[-1].number


def _entry(row: Any) -> AuditEntry:
    return AuditEntry(**{**row._mapping, "details": json.loads(row.details)})
