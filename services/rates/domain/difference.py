"""What differs between two states of the rate tables, row by row and field by field."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pydantic import ValidationError

from services.rates.domain.second_look import renamed
from shared_schemas.rate_history import FieldDifference, Renamed, RowDifference, TableDifference
from shared_schemas.rates import TABLES

Row = Mapping[str, Any]


def difference(before: Mapping[str, Sequence[Row]], after: Mapping[str, Sequence[Row]]) -> tuple[TableDifference, ...]:
    """The tables that differ, in the order of all tables; one that is not in `after` is taken to be as it was."""
    found = (_of_table(table, before.get(table, ()), after[table]) for table in TABLES if table in after)
    return tuple(one for one in found if one is not None)


def readable(table: str, records: Sequence[Row]) -> list[Row]:
    """Stored rows as this release writes them; one that it cannot read as it was stored.

    So a column that a release brought with a default of its own is no change of each row.
    """
    rows: list[Row] = []
    for record in records:
        try:
            rows.append(TABLES[table].model_validate(record).model_dump(mode="json", by_alias=True))
        except ValidationError:
            rows.append(record)
    return rows


def fields_between(before: Row | None, after: Row | None) -> tuple[FieldDifference, ...]:
    """The fields in which two states of a row differ; all that say something where it was not there before, or is no longer."""
    old, new = before or {}, after or {}
    return tuple(
        FieldDifference(field=field, before=old.get(field), after=new.get(field))
        for field in {**old, **new}
        if old.get(field) != new.get(field)
    )


def _of_table(table: str, before: Sequence[Row], after: Sequence[Row]) -> TableDifference | None:
    old_rows, new_rows = readable(table, before), readable(table, after)
    old, new = ({str(row["name"]): row for row in rows} for rows in (old_rows, new_rows))
    moved = renamed(old_rows, new_rows)
    kept = [name for name in old if name in new]
    changed = tuple(RowDifference(row=name, fields=fields_between(old[name], new[name])) for name in kept if old[name] != new[name])
    found = TableDifference(
        table=table,
        added=tuple(dict(row) for name, row in new.items() if name not in old and name not in moved.values()),
        dropped=tuple(dict(row) for name, row in old.items() if name not in new and name not in moved),
        renamed=tuple(Renamed(before=name, after=other) for name, other in moved.items()),
        changed=changed,
        reordered=kept != [name for name in new if name in old],
    )
    is_other = found.added or found.dropped or found.renamed or found.changed or found.reordered
    return found if is_other else None
