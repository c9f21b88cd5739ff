"""Revisions in PostgreSQL. Each method is one transaction; a stored revision is never changed."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import Connection, Row, text

from services.chassis.database import Database
from services.rates.domain.revision import canonical_rows, contradictions, digest_of_revision, digest_of_table, tables_of
from services.rates.domain.table_csv import validated_rows
from services.rates.errors import RevisionStale, RevisionUnknown, TableContradicts, TableUnknown
from shared_schemas.rates import TABLES, RateRow, Rates, RevisionSummary

PUBLISH_LOCK = 7_460_215
"""Number of the advisory lock under which revisions follow one another."""
NO_ROWS = b"[]"
"""What an old revision has of a table that the suite got later: a price asked of it is missing, never made up."""


@dataclass(frozen=True)
class StoredTable:
    """A table as it stands in a revision: its rows in canonical JSON, and their digest."""

    table: str
    revision: int
    rows: bytes
    digest: str


class RateStore:
    """The tables of the rates service."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def latest_number(self) -> int:
        """Number of the newest revision, 0 when there is none."""
        with self._database.transaction() as connection:
            return _latest(connection)

    def digest(self, number: int) -> str:
        """Digest of a revision; raises `RevisionUnknown`."""
        with self._database.transaction() as connection:
            return str(_head(connection, number).digest)

    def revision(self, number: int) -> bytes:
        """A whole revision as JSON, put together from the rows as they were stored; raises `RevisionUnknown`.

        Nothing is parsed: some milliseconds for all tables, and a reader keeps what it got, so nothing is kept here.
        """
        with self._database.transaction() as connection:
            head = _head(connection, number)
            found = connection.execute(
                text("select r.table_name, v.rows from rates.revision_tables r join rates.table_versions v on v.digest = r.digest "
                     "where r.number = :n"), {"n": number},
            )  # fmt: skip
            rows = {row.table_name: bytes(row.rows) for row in found}
        said = {
            "number": head.number,
            "digest": head.digest,
            "created_at": head.created_at.astimezone(UTC).isoformat(),
            "created_by": head.created_by,
            "reason": head.reason,
        }
        tables = b",".join(json.dumps(table).encode() + b":" + rows.get(table, NO_ROWS) for table in TABLES)
        return json.dumps(said)[:-1].encode() + b',"rates":{' + tables + b"}}"

    def summaries(self, *, before: int | None, most: int) -> list[RevisionSummary]:
        """Revisions newest first, from below `before`."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("""
                    select number, digest, created_at, created_by, reason, changed from rates.revisions
                    where cast(:before as int) is null or number < :before order by number desc limit :most
                """),
                {"before": before, "most": most},
            )
            return [RevisionSummary(**{**row._mapping, "changed": tuple(row.changed)}) for row in rows]

    def table(self, table: str, revision: int | None = None) -> StoredTable:
        """A table as it stands in a revision, the newest unless told; raises `TableUnknown`, `RevisionUnknown`."""
        _known(table)
        with self._database.transaction() as connection:
            latest = _latest(connection)
            number = latest if revision is None else revision
            if not 1 <= number <= latest:
                raise RevisionUnknown(number, latest)
            return _table(connection, table, number)

    def publish_first(self, rates: Rates, *, created_by: str, reason: str, now: datetime) -> int:
        """Revision 1, unless there is one; the number of the newest then."""
        with self._database.transaction() as connection:
            connection.execute(text("select pg_advisory_xact_lock(:n)"), {"n": PUBLISH_LOCK})
            latest = _latest(connection)
            if latest:
                return latest
            documents = {table: canonical_rows(rows) for table, rows in tables_of(rates).items()}
            digests = {table: _store_rows(connection, table, document) for table, document in documents.items()}
            return _store_revision(connection, 1, digests, tuple(TABLES), (created_by, reason, now))

    def publish(
        self, table: str, rows: Sequence[RateRow], *, seen: Collection[str], created_by: str, reason: str, now: datetime
    ) -> tuple[StoredTable, bool]:
        """Replace a table in a new revision: the table as it stands then, and whether that is a new revision.

        `seen` are digests of the table, of which the change was made to one. The same rows again make no revision. Raises
        `RevisionStale` when the table was changed meanwhile, `TableContradicts` when the rows do not agree with others.
        """
        _known(table)
        document = canonical_rows(rows)
        with self._database.transaction() as connection:
            connection.execute(text("select pg_advisory_xact_lock(:n)"), {"n": PUBLISH_LOCK})
            latest = _latest(connection)
            current = _table(connection, table, latest)
            if current.digest not in seen:
                raise RevisionStale(table, seen, current.digest)
            if digest_of_table(table, document) == current.digest:
                return current, False
            faults = contradictions(_rates(connection, latest).model_copy(update={table: tuple(rows)}), table)
            if faults:
                raise TableContradicts(table, faults)
            digests = _digests(connection, latest) | {table: _store_rows(connection, table, document)}
            number = _store_revision(connection, latest + 1, digests, (table,), (created_by, reason, now))
            return _table(connection, table, number), True


def _known(table: str) -> None:
    if table not in TABLES:
        raise TableUnknown(table)


def _latest(connection: Connection) -> int:
    return int(connection.execute(text("select coalesce(max(number), 0) from rates.revisions")).scalar_one())


def _head(connection: Connection, number: int) -> Row[Any]:
    head = connection.execute(text("select * from rates.revisions where number = :n"), {"n": number}).one_or_none()
    if head is None:
        raise RevisionUnknown(number, _latest(connection))
    return head


def _digests(connection: Connection, number: int) -> dict[str, str]:
    rows = connection.execute(text("select table_name, digest from rates.revision_tables where number = :n"), {"n": number})
    return {row.table_name: row.digest for row in rows}


def _table(connection: Connection, table: str, number: int) -> StoredTable:
    row = connection.execute(
        text("select v.rows, v.digest from rates.revision_tables r join rates.table_versions v on v.digest = r.digest "
             "where r.number = :n and r.table_name = :t"), {"n": number, "t": table},
    ).one_or_none()  # fmt: skip
    if row is None:
        return StoredTable(table, number, NO_ROWS, digest_of_table(table, NO_ROWS))
    return StoredTable(table, number, bytes(row.rows), row.digest)


def _rates(connection: Connection, number: int) -> Rates:
    return Rates(**{table: _read_rows(table, _table(connection, table, number).rows) for table in TABLES})


@lru_cache(maxsize=64)
def _read_rows(table: str, document: bytes) -> tuple[RateRow, ...]:
    return validated_rows(table, json.loads(document))


def _store_rows(connection: Connection, table: str, document: bytes) -> str:
    digest = digest_of_table(table, document)
    connection.execute(
        text("insert into rates.table_versions (digest, table_name, rows) values (:d, :t, :rows) on conflict (digest) do nothing"),
        {"d": digest, "t": table, "rows": document},
    )
    return digest


def _store_revision(
    connection: Connection, number: int, digests: Mapping[str, str], changed: Sequence[str], by: tuple[str, str, datetime]
) -> int:
    created_by, reason, now = by
    connection.execute(
        text("insert into rates.revisions (number, digest, created_at, created_by, reason, changed) "
             "values (:number, :digest, :now, :created_by, :reason, :changed)"),
        {"number": number, "digest": digest_of_revision(digests), "now": now, "created_by": created_by, "reason": reason,
         "changed": list(changed)},
    )  # fmt: skip
    connection.execute(
        text("insert into rates.revision_tables (number, table_name, digest) values (:number, :table, :digest)"),
        [{"number": number, "table": table, "digest": digest} for table, digest in digests.items()],
    )
    return number
