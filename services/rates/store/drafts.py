"""Drafts in PostgreSQL: the tables that each changes, beside the revision that it changes. Nothing of them is in force."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, cast

from pydantic import ValidationError
from sqlalchemy import Connection, Row, text

from services.chassis.database import Database
from services.rates.domain.revision import canonical_rows, digest_of_table
from services.rates.domain.row_patch import with_rows_changed
from services.rates.domain.table_csv import validated_rows
from services.rates.errors import DraftClosed, DraftsTooMany, DraftUnknown, RevisionLost, RevisionStale
from services.rates.store.statements import StoredTable, digests_of, head_of, latest_of, refuse_unknown, rows_of, table_of
from shared_schemas.problem import ProblemDetail
from shared_schemas.rate_drafts import Draft, DraftRequest, DraftStatus, DraftTable
from shared_schemas.rates import TABLES, RateRow

MOST_DRAFTS = 200
"""Drafts under work at once."""


@dataclass(frozen=True)
class Writer:
    """Who works on a draft, and when."""

    label: str
    key_id: str
    now: datetime


class DraftStore:
    """What engineers work on before it is a revision."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def make(self, asked: DraftRequest, by: Writer) -> tuple[Draft, str]:
        """A new draft on the newest revision, and its tag; with the tables of an old one, and with rows changed, where that is asked.

        Raises `RevisionUnknown`, `RevisionLost` for a revision that this release cannot read, `RowUnknown`, `TablesUnreadable` for changes of rows
        that cannot be read, and `RevisionStale` where they are of tables that are others by now.
        """
        with self._database.transaction() as connection:
            latest = latest_of(connection)
            restored = {} if asked.from_revision is None else _restored(connection, asked.from_revision, latest)
            restored |= _with_rows(connection, asked, restored, latest)
            open_drafts = connection.execute(text("select count(*) from rates.drafts where status <> 'published'")).scalar_one()
            if open_drafts >= MOST_DRAFTS:
                raise DraftsTooMany(MOST_DRAFTS)
            number = connection.execute(
                text("insert into rates.drafts (name, reason, status, base_revision, from_revision, created_at, created_by, "
                     "created_by_key, changed_at, changed_by, changed_by_key) values (:name, :reason, 'open', :base, :from, :now, :by, "
                     ":key, :now, :by, :key) returning number"),
                {"name": asked.name, "reason": asked.reason, "base": latest, "from": asked.from_revision, "now": by.now,
                 "by": by.label, "key": by.key_id},
            ).scalar_one()  # fmt: skip
            for table, document in restored.items():
                keep_table(connection, number, table, document)
            return seen_of(connection, number)

    def drafts(self, *, before: int | None, most: int) -> list[Draft]:
        """Drafts newest first, from below `before`."""
        with self._database.transaction() as connection:
            numbers = connection.execute(
                text("select number from rates.drafts where cast(:before as int) is null or number < :before "
                     "order by number desc limit :most"), {"before": before, "most": most},
            ).scalars().all()  # fmt: skip
            return [seen_of(connection, number)[0] for number in numbers]

    def draft(self, number: int) -> tuple[Draft, str]:
        """A draft and its tag; raises `DraftUnknown`."""
        with self._database.transaction() as connection:
            return seen_of(connection, number)

    def delete(self, number: int) -> None:
        """Throw a draft away; raises `DraftUnknown`, and `DraftClosed` for one that became a revision."""
        with self._database.transaction() as connection:
            head = draft_of(connection, number, lock=True)
            if head.status == "published":
                raise DraftClosed(number, f"became revision {head.published_revision}", "It stays as the record of it.")
            connection.execute(text("delete from rates.drafts where number = :n"), {"n": number})

    def table(self, number: int, table: str) -> StoredTable:
        """A table as it stands in a draft; raises `TableUnknown`, `DraftUnknown`."""
        refuse_unknown(table)
        with self._database.transaction() as connection:
            return table_in(connection, draft_of(connection, number), table)

    def put_table(self, number: int, table: str, rows: Sequence[RateRow], *, seen: Collection[str], by: Writer) -> StoredTable:
        """Replace a table in a draft; rows that stand there already change nothing.

        Raises `DraftUnknown`, `DraftClosed`, and `RevisionStale` when the table was changed in the draft meanwhile.
        """
        return self.put_tables(number, {table: rows}, seen={table: seen}, by=by)[0]

    def put_tables(
        self, number: int, tables: Mapping[str, Sequence[RateRow]], *, seen: Mapping[str, Collection[str]], by: Writer
    ) -> list[StoredTable]:
        """Replace several tables at once; those that `seen` does not name without having been read."""
        with self._database.transaction() as connection:
            head = draft_of(connection, number, lock=True)
            refuse_closed(head)
            stood = [table_in(connection, head, table) for table in tables]
            for there, rows in zip(stood, tables.values(), strict=True):
                document = canonical_rows(rows)
                digest = digest_of_table(there.table, document)
                if digest == there.digest:
                    continue
                if there.table in seen and there.digest not in seen[there.table]:
                    raise RevisionStale(there.table, seen[there.table], there.digest)
                keep_table(connection, number, there.table, document)
            touch(connection, number, by)
            return [table_in(connection, head, table) for table in tables]


def draft_of(connection: Connection, number: int, *, lock: bool = False) -> Row[Any]:
    """The row of a draft; raises `DraftUnknown`."""
    for_update = " for update" if lock else ""
    head = connection.execute(text("select * from rates.drafts where number = :n" + for_update), {"n": number}).one_or_none()  # nosec B608  a word of ours
    if head is None:
        raise DraftUnknown(number)
    return head


def refuse_closed(head: Row[Any]) -> None:
    """Raises `DraftClosed` for a draft that is not worked on."""
    if head.status == "published":
        raise DraftClosed(head.number, f"became revision {head.published_revision}", "Make another draft for what comes next.")
    if head.status != "open":
        how = {"scheduled": f"comes into force at {head.effective_from.isoformat()}", "stale": "could not come into force"}[
            head.status
        ]
        raise DraftClosed(head.number, how, f"To work on it again: POST /v1/rates/drafts/{head.number}/rebase.")


def documents_in(connection: Connection, number: int) -> dict[str, bytes]:
    """The rows of the tables that a draft changes, in the order of all tables."""
    rows = connection.execute(text("select table_name, rows from rates.draft_tables where number = :n"), {"n": number})
    found = {row.table_name: bytes(row.rows) for row in rows}
    return {table: found[table] for table in TABLES if table in found}


def table_in(connection: Connection, head: Row[Any], table: str) -> StoredTable:
    """A table as it stands in a draft, that of its base where the draft does not change it."""
    row = connection.execute(
        text("select rows, digest from rates.draft_tables where number = :n and table_name = :t"), {"n": head.number, "t": table}
    ).one_or_none()
    if row is None:
        return table_of(connection, table, head.base_revision)
    return StoredTable(table, head.base_revision, bytes(row.rows), row.digest)


def keep_table(connection: Connection, number: int, table: str, document: bytes) -> None:
    """Put the rows of a table into a draft; rows that are those of its base again are no change of it."""
    digest = digest_of_table(table, document)
    base = connection.execute(text("select base_revision from rates.drafts where number = :n"), {"n": number}).scalar_one()
    connection.execute(text("delete from rates.draft_tables where number = :n and table_name = :t"), {"n": number, "t": table})
    if digest != table_of(connection, table, base).digest:
        connection.execute(
            text("insert into rates.draft_tables (number, table_name, rows, digest) values (:n, :t, :rows, :digest)"),
            {"n": number, "t": table, "rows": document, "digest": digest},
        )


def touch(connection: Connection, number: int, by: Writer) -> None:
    """Note who changed a draft last."""
    connection.execute(
        text("update rates.drafts set changed_at = :now, changed_by = :by, changed_by_key = :key where number = :n"),
        {"n": number, "now": by.now, "by": by.label, "key": by.key_id},
    )


def changed_meanwhile(connection: Connection, head: Row[Any], tables: Collection[str]) -> tuple[str, ...]:
    """Tables of a draft that are not in the newest revision as they were in its base."""
    if head.status == "published":
        return ()
    base, latest = digests_of(connection, head.base_revision), digests_of(connection, latest_of(connection))
    return tuple(table for table in TABLES if table in tables and base.get(table) != latest.get(table))


def seen_of(connection: Connection, number: int) -> tuple[Draft, str]:
    """A draft as a caller sees it, and its tag: that of what would be published, so that neither time nor a publish changes it."""
    head = draft_of(connection, number)
    rows = connection.execute(text("select table_name, rows, digest from rates.draft_tables where number = :n"), {"n": number})
    found = {
        row.table_name: DraftTable(table=row.table_name, rows=len(json.loads(bytes(row.rows))), digest=row.digest) for row in rows
    }
    tables = tuple(found[table] for table in TABLES if table in found)
    said = (head.number, head.base_revision, head.name, head.reason, *(f"{table.table} {table.digest}" for table in tables))
    tag = hashlib.sha256("\n".join(map(str, said)).encode()).hexdigest()
    draft = Draft(
        number=head.number, name=head.name, reason=head.reason, status=cast(DraftStatus, head.status), base_revision=head.base_revision,
        from_revision=head.from_revision, tables=tables, changed_meanwhile=changed_meanwhile(connection, head, found),
        created_at=head.created_at, created_by=head.created_by, created_by_key=head.created_by_key, changed_at=head.changed_at,
        changed_by=head.changed_by, effective_from=head.effective_from, published_revision=head.published_revision, why=head.why,
    )  # fmt: skip
    return draft, tag


def _with_rows(connection: Connection, asked: DraftRequest, restored: Mapping[str, bytes], latest: int) -> dict[str, bytes]:
    """The tables in which a new draft has rows changed."""
    tables = list(dict.fromkeys(change.table for change in asked.rows))
    for table in tables:
        refuse_unknown(table)
        if asked.rows_beside is not None:
            head_of(connection, asked.rows_beside)
            seen, now = (table_of(connection, table, number).digest for number in (asked.rows_beside, latest))
            if seen != now:
                raise RevisionStale(table, [seen], now)
    documents = {table: restored.get(table) or table_of(connection, table, latest).rows for table in tables}
    rows = {table: validated_rows(table, json.loads(document)) for table, document in documents.items()}
    return {table: canonical_rows(changed) for table, changed in with_rows_changed(rows, asked.rows).items()}


def _restored(connection: Connection, number: int, latest: int) -> dict[str, bytes]:
    """The tables of an old revision that are others now, byte for byte as they were stored.

    Raises `RevisionLost` when this release has no such table or column, or needs one that the revision does not have.
    """
    head_of(connection, number)
    now = digests_of(connection, latest)
    stored = rows_of(connection, number)
    faults = [
        ProblemDetail(pointer=f"/tables/{table}", reason="this release has no such table", figure=table) for table in stored if table not in TABLES
    ]  # fmt: skip
    documents = {
        table: rows for table, rows in stored.items() if table in TABLES and digest_of_table(table, rows) != now.get(table)
    }
    for table, rows in documents.items():
        faults += _unreadable(table, json.loads(rows))
    if faults:
        raise RevisionLost(number, faults)
    return documents


def _unreadable(table: str, records: Sequence[Mapping[str, Any]]) -> list[ProblemDetail]:
    """Columns of stored rows that cannot be read now, each once with the first row that has it."""
    faults: dict[tuple[str, str], ProblemDetail] = {}
    for position, record in enumerate(records):
        try:
            TABLES[table].model_validate(record)
        except ValidationError as fault:
            for error in fault.errors(include_url=False):
                column = str(error["loc"][0]) if error["loc"] else ""
                reason = {"extra_forbidden": "this release has no such column", "missing": "this release needs the column"}
                detail = ProblemDetail(
                    pointer=f"/tables/{table}/rows/{position}/{column}",
                    reason=reason.get(error["type"], error["msg"]),
                    figure=column,
                )
                faults.setdefault((column, error["type"]), detail)
    return list(faults.values())
