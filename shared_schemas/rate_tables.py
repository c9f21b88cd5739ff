"""What the rate tables are for, and what each of their columns means: the same texts as in the description of the API."""

from __future__ import annotations

from typing import Any

from shared_schemas.base import Contract


class TableInfo(Contract):
    """A table: what it is for, how many rows it has, and how many of them are of each origin."""

    table: str
    purpose: str
    rows: int
    origins: dict[str, int]
    digest: str


class TableInfoList(Contract):
    """Every table of a revision."""

    revision: int
    items: tuple[TableInfo, ...]


class ColumnInfo(Contract):
    """A column: meaning, unit (`-` for what has none), range, an example, whether it may be left empty, and what it becomes then."""

    column: str
    meaning: str
    unit: str
    range: str
    example: Any
    needed: bool
    default: Any = None


class ColumnInfoList(Contract):
    """The columns of a table in the order of its CSV; `where_used` says what is worked out from the table."""

    table: str
    purpose: str
    where_used: str
    columns: tuple[ColumnInfo, ...]
