"""What became of the tables from revision to revision, read from PostgreSQL."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Literal

from sqlalchemy import Connection, Row, text

from services.chassis.database import Database
from services.rates.domain.difference import difference, fields_between, readable
from services.rates.domain.second_look import renamed
from services.rates.errors import RowUnknown
from services.rates.store.drafts import documents_in, draft_of
from services.rates.store.statements import digests_of, head_of, latest_of, refuse_unknown, rows_of
from shared_schemas.rate_history import RateDifference, RowVersion

MOST_LOOKED_AT = 1000
"""The newest versions of a table that a request looks through."""

VERSIONS = """
    select * from (
        select r.number, r.created_at, r.created_by, r.created_by_key, r.reason, r.draft, t.digest,
               lag(t.digest) over (order by r.number) as digest_before
        from rates.revisions r join rates.revision_tables t on t.number = r.number and t.table_name = :table
    ) versions
    where digest is distinct from digest_before order by number desc limit :most
"""


class RateHistory:
    """Revisions held against each other."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def between(self, first: int, second: int | None) -> RateDifference:
        """What differs from one revision to another, the newest unless told; raises `RevisionUnknown`."""
        with self._database.transaction() as connection:
            last = latest_of(connection) if second is None else second
            head_of(connection, first)
            head_of(connection, last)
            old, new = digests_of(connection, first), digests_of(connection, last)
            before, after = _read(rows_of(connection, first)), _read(rows_of(connection, last))
        changed = {table: after.get(table, []) for table in {*old, *new} if old.get(table) != new.get(table)}
        return RateDifference(from_revision=first, to_revision=last, draft=None, tables=difference(before, changed))

    def of_draft(self, number: int) -> RateDifference:
        """What a draft changes of its base; raises `DraftUnknown`."""
        with self._database.transaction() as connection:
            base = draft_of(connection, number).base_revision
            documents = documents_in(connection, number)
            before = _read(rows_of(connection, base))
        return RateDifference(from_revision=base, to_revision=None, draft=number, tables=difference(before, _read(documents)))

    def of_row(self, table: str, name: str, *, before: int | None, most: int) -> tuple[list[RowVersion], int | None]:
        """Changes of a row newest first, from below revision `before`, and the revision to go on from; a renamed one is followed back.

        Raises `TableUnknown`, and `RowUnknown` for a name that no version of the table had.
        """
        refuse_unknown(table)
        found: list[RowVersion] = []
        followed, was_there = name, False
        with self._database.transaction() as connection:
            # From the newest each time, as the name that the row had further back is found on the way.
            for head in connection.execute(text(VERSIONS), {"table": table, "most": MOST_LOOKED_AT}).all():
                version, followed = _version(connection, table, followed, head)
                was_there = was_there or version is not None
                if version is None or (before is not None and version.revision >= before):
                    continue
                if len(found) == most:
                    return found, found[-1].revision
                found.append(version)
        if not was_there:
            raise RowUnknown(table, name)
        return found, None


def _version(connection: Connection, table: str, name: str, head: Row[Any]) -> tuple[RowVersion | None, str]:
    """What a version of the table changed of a row, and the name that the row had before it."""
    now, earlier = (_rows_of_version(connection, table, digest) for digest in (head.digest, head.digest_before))
    row, old = now.get(name), earlier.get(name)
    name_before = name
    if row is not None and old is None:
        name_before = next((was for was, new in renamed(earlier.values(), now.values()).items() if new == name), name)
        old = earlier.get(name_before)
    row, old = (None if one is None else readable(table, [one])[0] for one in (row, old))
    if row == old:
        return None, name
    what: Literal["added", "changed", "renamed", "dropped"] = "changed"
    if name_before != name:
        what = "renamed"
    elif row is None or old is None:
        what = "dropped" if row is None else "added"
    version = RowVersion(
        revision=head.number, at=head.created_at, by=head.created_by, by_key=head.created_by_key, reason=head.reason, draft=head.draft,
        what=what, fields=fields_between(old, row),
    )  # fmt: skip
    return version, name_before


def _rows_of_version(connection: Connection, table: str, digest: str | None) -> dict[str, Mapping[str, Any]]:
    if digest is None:
        return {}
    stored = connection.execute(text("select rows from rates.table_versions where digest = :d"), {"d": digest}).scalar_one()
    return {str(row["name"]): row for row in json.loads(bytes(stored))}


def _read(documents: Mapping[str, bytes]) -> dict[str, list[dict[str, Any]]]:
    return {table: json.loads(rows) for table, rows in documents.items()}
