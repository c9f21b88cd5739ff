"""What changed in the rates: between two revisions, in a draft, and in one row over the years."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Literal

from shared_schemas.base import Contract


class FieldDifference(Contract):
    """A field of a row, before and after; `null` where it was empty or not there."""

    field: str
    before: Any
    after: Any


class RowDifference(Contract):
    """A row with the fields that differ."""

    row: str
    fields: tuple[FieldDifference, ...]


class Renamed(Contract):
    """A row that is the same under another name."""

    before: str
    after: str


class TableDifference(Contract):
    """One table: rows that came, went, were renamed or changed; `reordered` where the rows that stayed stand in another order."""

    table: str
    added: tuple[dict[str, Any], ...]
    dropped: tuple[dict[str, Any], ...]
    renamed: tuple[Renamed, ...]
    changed: tuple[RowDifference, ...]
    reordered: bool


class RateDifference(Contract):
    """The tables that differ between two revisions, or between a revision and the draft that changes it."""

    from_revision: int
    to_revision: int | None
    draft: int | None
    tables: tuple[TableDifference, ...]


class RowVersion(Contract):
    """One change of a row: in which revision, when, by whom and why, and its fields before and after."""

    revision: int
    at: datetime
    by: str
    by_key: str | None
    reason: str
    draft: int | None
    what: Literal["added", "changed", "renamed", "dropped"]
    fields: tuple[FieldDifference, ...]


class RowHistory(Contract):
    """A page of the changes of one row, newest first."""

    table: str
    row: str
    items: tuple[RowVersion, ...]
    next: str | None = None
