"""A rate table as CSV and back. One column a field, named as the field; a list (prices, layers) is JSON in its cell."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from typing import Any, get_args

from pydantic import ValidationError

from services.rates.errors import TableUnreadable
from shared_schemas.problem import ProblemDetail
from shared_schemas.rates import TABLES, RateRow

SURPLUS = "(cells beyond the last column)"


def rows_from_csv(table: str, text: str) -> tuple[RateRow, ...]:
    """Rows of `table` (a name in `TABLES`) from CSV with a header line.

    An empty cell is a field left out. Raises `TableUnreadable` naming row (1 is the first below the header) and column.
    """
    shape = TABLES[table]
    reader = csv.DictReader(io.StringIO(text), restkey=SURPLUS, restval="")
    columns = reader.fieldnames or []
    unknown = [column for column in columns if column not in _field_names(shape)]
    if unknown:
        raise TableUnreadable(
            table,
            [
                ProblemDetail(
                    pointer=f"/rows/0/{column}",
                    reason=f"{table} has no column {column}",
                    limit=", ".join(_field_names(shape)),
                    remedy="rename or remove the column",
                )
                for column in unknown
            ],
        )
    return validated_rows(table, [_record(shape, row) for row in reader])


def validated_rows(table: str, records: Sequence[dict[str, Any]]) -> tuple[RateRow, ...]:
    """Rows of `table` from records as they came in JSON or CSV; raises `TableUnreadable` naming every wrong cell."""
    shape = TABLES[table]
    rows: list[RateRow] = []
    errors: list[ProblemDetail] = []
    names: dict[str, int] = {}
    for number, record in enumerate(records):
        try:
            row = shape.model_validate_json(json.dumps(record))
        except ValidationError as fault:
            errors += [
                ProblemDetail(
                    pointer="/".join(["", "rows", str(number), *map(str, error["loc"])]),
                    reason=error["msg"],
                    figure=_shown(error["input"]),
                    limit=error.get("ctx", {}).get("limit"),
                    remedy=error.get("ctx", {}).get("remedy"),
                )
                for error in fault.errors(include_url=False)
            ]
            continue
        if row.name in names:
            errors.append(
                ProblemDetail(
                    pointer=f"/rows/{number}/name",
                    figure=row.name,
                    limit="each name once",
                    reason=f"row {names[row.name] + 1} has the same name",
                    remedy="give the row a name of its own",
                )
            )
        names.setdefault(row.name, number)
        rows.append(row)
    if errors:
        raise TableUnreadable(table, errors)
    return tuple(rows)


def rows_to_csv(table: str, rows: Sequence[RateRow]) -> str:
    """CSV of `rows`; `rows_from_csv` reads it back to equal rows."""
    out = io.StringIO()
    writer = csv.DictWriter(out, fieldnames=_field_names(TABLES[table]), lineterminator="\n")
    writer.writeheader()
    for row in rows:
        record = row.model_dump(mode="json", by_alias=True)
        writer.writerow({key: _cell(value) for key, value in record.items()})
    return out.getvalue()


def _field_names(shape: type[RateRow]) -> list[str]:
    return [field.alias or name for name, field in shape.model_fields.items()]


def _record(shape: type[RateRow], row: dict[str, Any]) -> dict[str, Any]:
    record: dict[str, Any] = {}
    for name, field in shape.model_fields.items():
        cell = row.get(field.alias or name)
        if cell is None or cell.strip() == "":
            continue
        record[field.alias or name] = _value(cell.strip(), field.annotation)
    if SURPLUS in row:
        record[SURPLUS] = row[SURPLUS]
    return record


def _value(cell: str, annotation: Any) -> Any:
    """The JSON value of a cell; what does not read as one stays text, and validation says so."""
    kinds = _plain_types(annotation)
    if cell[0] in "[{":
        try:
            return json.loads(cell)
        except json.JSONDecodeError:
            return cell
    if bool in kinds and cell.lower() in ("true", "yes", "false", "no"):
        return cell.lower() in ("true", "yes")
    for kind in (int, float):
        if kind in kinds:
            try:
                return kind(cell)
            except ValueError:
                continue
    return cell


def _plain_types(annotation: Any) -> set[Any]:
    inner = get_args(annotation)
    return {annotation} if not inner else set().union(*(_plain_types(part) for part in inner))


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return json.dumps(value, separators=(",", ":")) if isinstance(value, (list, dict)) else str(value)


def _shown(value: Any) -> Any:
    return value if isinstance(value, (str, int, float, bool, type(None))) else str(value)[:80]
