"""Revisions in PostgreSQL. Each method is one transaction; a stored revision is never changed."""

from __future__ import annotations

import json
from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from cachetools import LRUCache
from sqlalchemy import Row, text

from services.chassis.database import Database
from services.chassis.epoch import first_free
from services.rates.domain.needs import Gap, Shortcomings, completed, shortcomings_of
from services.rates.domain.revision import canonical_rows, contradictions, digest_of_table, tables_of
from services.rates.domain.second_look import detail_of
from services.rates.errors import NotConfirmed, RevisionStale, RevisionUnknown, TableContradicts
from services.rates.store.publication import Author, lock_publishing, put_in_force, store_revision, store_rows, unconfirmed
from services.rates.store.statements import (
    StoredTable,
    digests_of,
    head_of,
    latest_of,
    rates_of,
    refuse_unknown,
    rows_of,
    table_of,
    written,
)
from shared_schemas.rates import TABLES, RateRow, Rates, RevisionSummary

_known_shortcomings: LRUCache[str, Shortcomings] = LRUCache(4)
"""By the digest of the revision, as probes ask every few seconds."""


class RateStore:
    """The tables of the rates service."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def latest_number(self) -> int:
        """Number of the newest revision, 0 when there is none."""
        with self._database.transaction() as connection:
            return latest_of(connection)

    def newest(self) -> tuple[int, Rates]:
        """The newest revision: its number and its tables; raises `RevisionUnknown` when there is none."""
        with self._database.transaction() as connection:
            latest = latest_of(connection)
            head_of(connection, latest)
            return latest, rates_of(connection, latest)

    def rates(self, number: int | None = None) -> tuple[Row[Any], Rates]:
        """What is said of a revision, the newest unless told, and its tables; raises `RevisionUnknown`, `TableUnreadable` for old rows."""
        with self._database.transaction() as connection:
            head = head_of(connection, latest_of(connection) if number is None else number)
            return head, rates_of(connection, head.number)

    def digest(self, number: int) -> str:
        """Digest of a revision; raises `RevisionUnknown`."""
        with self._database.transaction() as connection:
            return str(head_of(connection, number).digest)

    def revision(self, number: int) -> bytes:
        """A whole revision as JSON; raises `RevisionUnknown`."""
        with self._database.transaction() as connection:
            head = head_of(connection, number)
            rows = rows_of(connection, number)
        said = {
            "number": head.number,
            "digest": head.digest,
            "created_at": head.created_at.astimezone(UTC).isoformat(),
            "created_by": head.created_by,
            "reason": head.reason,
        }
        return written(said, rows)

    def summaries(self, *, before: int | None, most: int) -> list[RevisionSummary]:
        """Revisions newest first, from below `before`."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("""
                    select number, digest, created_at, created_by, reason, changed, created_by_key, draft from rates.revisions
                    where cast(:before as int) is null or number < :before order by number desc limit :most
                """),
                {"before": before, "most": most},
            )
            return [RevisionSummary(**{**row._mapping, "changed": tuple(row.changed)}) for row in rows]

    def table(self, table: str, revision: int | None = None) -> StoredTable:
        """A table as it stands in a revision, the newest unless told; raises `TableUnknown`, `RevisionUnknown`."""
        refuse_unknown(table)
        with self._database.transaction() as connection:
            latest = latest_of(connection)
            number = latest if revision is None else revision
            if not 1 <= number <= latest:
                raise RevisionUnknown(number, latest)
            return table_of(connection, table, number)

    def publish_first(self, rates: Rates, *, created_by: str, reason: str, now: datetime) -> int:
        """Revision 1, unless there is one; the number of the newest then."""
        with self._database.transaction() as connection:
            lock_publishing(connection)
            latest = latest_of(connection)
            if latest:
                return latest
            documents = {table: canonical_rows(rows) for table, rows in tables_of(rates).items()}
            digests = {table: store_rows(connection, table, document) for table, document in documents.items()}
            store_revision(connection, 1, digests, tuple(TABLES), Author(created_by, reason, now))
            return 1

    def complete(self, *, release: str, now: datetime) -> tuple[Gap, ...]:
        """Publish the newest revision with what a release needs and it does not have, as the next; what that was.

        Nothing missing, or no revision at all, makes none. Raises `ColumnUnknown`, or pydantic's `ValidationError` for a row that
        the release cannot read whatever is added to it.
        """
        with self._database.transaction() as connection:
            lock_publishing(connection)
            latest = latest_of(connection)
            if not latest:
                return ()
            documents = {table: json.loads(rows) for table, rows in rows_of(connection, latest).items()}
            completion = completed(documents, release=release)
            if completion.gaps:
                documents_of_changed = {table: canonical_rows(completion.tables[table]) for table in completion.changed}
                stored = {table: store_rows(connection, table, document) for table, document in documents_of_changed.items()}
                reason = f"what release {release} needs and revision {latest} did not have, from the tables it is delivered with"
                by = Author(f"release {release}", reason, now)
                store_revision(
                    connection, first_free(connection, latest), digests_of(connection, latest) | stored, tuple(stored), by
                )
            return completion.gaps

    def shortcomings(self) -> Shortcomings | None:
        """What the newest revision does not have of what this release needs, and what no engineer has confirmed; `None` without one."""
        with self._database.transaction() as connection:
            latest = latest_of(connection)
            if not latest:
                return None
            digest = str(head_of(connection, latest).digest)
            if digest not in _known_shortcomings:
                documents = {table: json.loads(rows) for table, rows in rows_of(connection, latest).items()}
                _known_shortcomings[digest] = shortcomings_of(documents)
        return _known_shortcomings[digest]

    def publish(
        self, table: str, rows: Sequence[RateRow], *, seen: Collection[str], by: Author, confirmed: Collection[str] = ()
    ) -> tuple[StoredTable, bool]:
        """Replace a table in a new revision: the table as it stands then, and whether that is a new revision.

        `seen` are digests of the table, of which the change was made to one. Rows that stand already make no revision, whatever was
        seen. Raises `RevisionStale` when the table was changed meanwhile, `TableContradicts` when the rows do not agree with others,
        `NotConfirmed` for what needs a second look.
        """
        refuse_unknown(table)
        document = canonical_rows(rows)
        with self._database.transaction() as connection:
            lock_publishing(connection)
            latest = latest_of(connection)
            current = table_of(connection, table, latest)
            if digest_of_table(table, document) == current.digest:
                return current, False
            if current.digest not in seen:
                raise RevisionStale(table, seen, current.digest)
            before = rates_of(connection, latest)
            after = before.model_copy(update={table: tuple(rows)})
            faults = contradictions(after, table)
            if faults:
                raise TableContradicts(table, faults)
            looks = unconfirmed(before, after, (table,), confirmed)
            if looks:
                raise NotConfirmed([detail_of(look, look.pointer.removeprefix(f"/tables/{table}")) for look in looks])
            number = put_in_force(connection, latest, {table: document}, by)
            kept = {row.name for row in rows}
            names = (row["name"] for row in json.loads(current.rows))
            dropped = tuple(name for name in names if name not in kept)
            return replace(table_of(connection, table, number), dropped=dropped), True
