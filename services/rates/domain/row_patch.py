"""Rows of tables changed by JSON Merge Patches."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from typing import Any

from services.rates.domain.table_csv import validated_rows
from services.rates.errors import RowUnknown, TablesUnreadable, TableUnreadable
from shared_schemas.merge_patch import merged
from shared_schemas.problem import ProblemDetail
from shared_schemas.rate_drafts import RowChange
from shared_schemas.rates import RateRow


def with_row_patched(table: str, records: Sequence[Mapping[str, Any]], name: str, patch: Any) -> tuple[RateRow, ...]:
    """The rows of a table in which that one is changed; raises `RowUnknown`, `TableUnreadable` with pointers into the patch."""
    names = [str(record["name"]) for record in records]
    if name not in names:
        raise RowUnknown(table, name, get_close_matches(name, names, 2))
    position = names.index(name)
    changed = [*records[:position], merged(dict(records[position]), patch), *records[position + 1 :]]
    try:
        return validated_rows(table, changed)
    except TableUnreadable as fault:
        place = f"/rows/{position}/"
        details = [detail.model_copy(update={"pointer": detail.pointer.replace(place, "/", 1)}) for detail in fault.errors]
        raise TableUnreadable(table, details) from fault


def with_rows_changed(tables: Mapping[str, Sequence[RateRow]], changes: Sequence[RowChange]) -> dict[str, tuple[RateRow, ...]]:
    """Tables in which rows are changed one after the other.

    Raises `RowUnknown`, and `TablesUnreadable` that names every cell of every change that cannot be read.
    """
    changed = {table: tuple(rows) for table, rows in tables.items()}
    faults: list[ProblemDetail] = []
    for place, change in enumerate(changes):
        records = [row.model_dump(mode="json", by_alias=True) for row in changed[change.table]]
        try:
            changed[change.table] = with_row_patched(change.table, records, change.row, change.patch)
        except TableUnreadable as fault:
            faults += [one.model_copy(update={"pointer": f"/rows/{place}/patch{one.pointer}"}) for one in fault.errors]
    if faults:
        raise TablesUnreadable(faults)
    return changed
