"""Statements that the repositories of rates share; each runs in the transaction it is given."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from sqlalchemy import Connection, Row, text

from services.rates.domain.revision import digest_of_table
from services.rates.domain.table_csv import validated_rows
from services.rates.errors import RevisionUnknown, TableUnknown
from shared_schemas.rates import TABLES, RateRow, Rates

NO_ROWS = b"[]"
"""What an old revision has of a table that the suite got later: a price asked of it is missing, never made up."""


@dataclass(frozen=True)
class StoredTable:
    """A table as it stands in a revision: its rows in canonical JSON, and their digest; the names that a change dropped from it."""

    table: str
    revision: int
    rows: bytes
    digest: str
    dropped: tuple[str, ...] = ()


def refuse_unknown(table: str) -> None:
    """Raises `TableUnknown` for what is no table."""
    if table not in TABLES:
        raise TableUnknown(table)


def latest_of(connection: Connection) -> int:
    """Number of the newest revision, 0 when there is none."""
    return int(connection.execute(text("select coalesce(max(number), 0) from rates.revisions")).scalar_one())


def head_of(connection: Connection, number: int) -> Row[Any]:
    """The row of a revision; raises `RevisionUnknown`."""
    head = connection.execute(text("select * from rates.revisions where number = :n"), {"n": number}).one_or_none()
    if head is None:
        raise RevisionUnknown(number, latest_of(connection))
    return head


def digests_of(connection: Connection, number: int) -> dict[str, str]:
    """Digest of each table of a revision."""
    rows = connection.execute(text("select table_name, digest from rates.revision_tables where number = :n"), {"n": number})
    return {row.table_name: row.digest for row in rows}


def table_of(connection: Connection, table: str, number: int) -> StoredTable:
    """A table as it stands in a revision, without a row in one that is older than the table."""
    row = connection.execute(
        text("select v.rows, v.digest from rates.revision_tables r join rates.table_versions v on v.digest = r.digest "
             "where r.number = :n and r.table_name = :t"), {"n": number, "t": table},
    ).one_or_none()  # fmt: skip
    if row is None:
        return StoredTable(table, number, NO_ROWS, digest_of_table(table, NO_ROWS))
    return StoredTable(table, number, bytes(row.rows), row.digest)


def rates_of(connection: Connection, number: int) -> Rates:
    """All tables of a revision."""
    return Rates(**{table: _read_rows(table, table_of(connection, table, number).rows) for table in TABLES})


@lru_cache(maxsize=64)
def _read_rows(table: str, document: bytes) -> tuple[RateRow, ...]:
    return validated_rows(table, json.loads(document))


def rows_of(connection: Connection, number: int) -> dict[str, bytes]:
    """The rows of every table of a revision as they were stored."""
    found = connection.execute(
        text("select r.table_name, v.rows from rates.revision_tables r join rates.table_versions v on v.digest = r.digest "
             "where r.number = :n"), {"n": number},
    )  # fmt: skip
    return {row.table_name: bytes(row.rows) for row in found}


def written(said: Mapping[str, Any], rows: Mapping[str, bytes]) -> bytes:
    """A whole revision as JSON: what is said of it, and its tables, put together from the rows as they were stored.

    Nothing is parsed: some milliseconds for all tables, and a reader keeps what it got, so nothing is kept here.
    """
    tables = b",".join(json.dumps(table).encode() + b":" + rows.get(table, NO_ROWS) for table in TABLES)
    return json.dumps(said)[:-1].encode() + b',"rates":{' + tables + b"}}"
