"""One row of a table changed by a JSON Merge Patch."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from typing import Any

from services.rates.domain.table_csv import validated_rows
from services.rates.errors import RowUnknown, TableUnreadable
from shared_schemas.merge_patch import merged
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
