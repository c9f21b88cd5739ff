"""How rates come into force: one path for a single table, for a draft, and for one that waited for its time.

Each function runs in the transaction it is given, under the lock under which revisions follow one another.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, text

from services.chassis import audit
from services.chassis.epoch import first_free
from services.rates.domain.revision import contradictions_of, digest_of_revision, digest_of_table
from services.rates.domain.second_look import second_looks
from services.rates.domain.table_csv import validated_rows
from services.rates.store.statements import digests_of, rates_of
from shared_schemas.problem import ProblemDetail
from shared_schemas.rate_drafts import SecondLook
from shared_schemas.rates import TABLES, RateRow, Rates

PUBLISH_LOCK = 7_460_215
"""Number of the advisory lock under which revisions follow one another."""


@dataclass(frozen=True)
class Author:
    """Who publishes, why and when; `draft` is the draft that it was written in."""

    label: str
    reason: str
    now: datetime
    key_id: str | None = None
    draft: int | None = None


def lock_publishing(connection: Connection) -> None:
    """Wait until nobody else publishes, and keep others waiting until the transaction ends."""
    connection.execute(text("select pg_advisory_xact_lock(:n)"), {"n": PUBLISH_LOCK})


def rates_with(connection: Connection, base: int, documents: Mapping[str, bytes]) -> tuple[Rates, Rates]:
    """The rates of a revision, and the same with tables replaced; raises `TableUnreadable` for rows that this release cannot read."""
    before = rates_of(connection, base)
    rows: dict[str, tuple[RateRow, ...]] = {table: validated_rows(table, json.loads(rows)) for table, rows in documents.items()}
    return before, before.model_copy(update=rows)


def faults_of(after: Rates, changed: Iterable[str]) -> list[ProblemDetail]:
    """Where tables do not agree, all at once, with pointers into a draft; `line` is that of the table as CSV."""
    found = contradictions_of(after, frozenset(changed))
    return [
        fault.model_copy(update={"pointer": f"/tables/{table}{fault.pointer}", **_place(fault.pointer)})
        for table in TABLES
        for fault in found.get(table, ())
    ]


def _place(pointer: str) -> dict[str, object]:
    steps = pointer.split("/")
    if len(steps) < 3 or not steps[2].isdigit():
        return {}
    return {"line": int(steps[2]) + 2, "column": steps[3] if len(steps) > 3 else None}


def unconfirmed(before: Rates, after: Rates, changed: Iterable[str], confirmed: Collection[str]) -> list[SecondLook]:
    """What needs a second look and nobody confirmed."""
    return [look for look in second_looks(before, after, changed) if look.code not in confirmed]


def put_in_force(connection: Connection, latest: int, documents: Mapping[str, bytes], by: Author) -> int:
    """The number of a new revision: the newest one with the tables of `documents`, which are known to agree."""
    stored = {table: store_rows(connection, table, rows) for table, rows in documents.items()}
    number = first_free(connection, latest)
    store_revision(connection, number, digests_of(connection, latest) | stored, tuple(stored), by)
    return number


def store_rows(connection: Connection, table: str, document: bytes) -> str:
    """Keep rows of a table, once for each content; their digest."""
    digest = digest_of_table(table, document)
    connection.execute(
        text("insert into rates.table_versions (digest, table_name, rows) values (:d, :t, :rows) on conflict (digest) do nothing"),
        {"d": digest, "t": table, "rows": document},
    )
    return digest


def store_revision(connection: Connection, number: int, digests: Mapping[str, str], changed: Sequence[str], by: Author) -> None:
    """Keep a revision of tables that are stored already."""
    connection.execute(
        text("insert into rates.revisions (number, digest, created_at, created_by, reason, changed, created_by_key, draft) "
             "values (:number, :digest, :now, :created_by, :reason, :changed, :key, :draft)"),
        {"number": number, "digest": digest_of_revision(digests), "now": by.now, "created_by": by.label, "reason": by.reason,
         "changed": list(changed), "key": by.key_id, "draft": by.draft},
    )  # fmt: skip
    connection.execute(
        text("insert into rates.revision_tables (number, table_name, digest) values (:number, :table, :digest)"),
        [{"number": number, "table": table, "digest": digest} for table, digest in digests.items()],
    )
    details = {"changed": sorted(changed), "digest": digest_of_revision(digests), "reason": by.reason, "created_by": by.label}
    audit.record(
        connection, action="rates.publish", subject=f"revision {number}", at=by.now, details=details, by=by.key_id, label=by.label
    )
