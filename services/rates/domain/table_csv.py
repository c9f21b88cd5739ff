"""A rate table as CSV and back. One column a field, named as the field; a list (prices, layers) is JSON in its cell."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from collections.abc import Sequence
from decimal import Decimal
from typing import Any, get_args, get_origin

from pydantic import ValidationError

from services.rates.errors import TableUnreadable
from shared_schemas.csv_cells import guarded, unguarded
from shared_schemas.problem import ProblemDetail
from shared_schemas.rates import TABLES, RateRow

MAY_BE_EMPTY = frozenset({"glass_grades", "pressed_aspheres", "outside_work", "operations", "shop_load"})
"""Tables of what a shop may do without: grades beyond the usual glass, pressing aspheres, suppliers, steps of its own, waits."""

SURPLUS = "(cells beyond the last column)"

LIMITS = {
    "gt": "above {}",
    "ge": "{} or more",
    "lt": "below {}",
    "le": "{} or less",
    "max_length": "at most {} long",
    "min_length": "at least {} long",
    "pattern": "of the form {}",
    "expected": "one of {}",
}
"""What would do, for each kind of limit that pydantic reports."""

REMEDIES = {
    "missing": "fill it in",
    "extra_forbidden": "leave it out, or look for a misspelt name",
    "finite_number": "a finite number",
}


def rows_from_csv(table: str, text: str) -> tuple[RateRow, ...]:
    """Rows of `table` (a name in `TABLES`) from CSV with a header line.

    An empty cell is a field left out; spaces around a cell do not count. Raises `TableUnreadable` naming row (counted
    from 0 below the header, as in the JSON form) and column.
    """
    shape = TABLES[table]
    reader = csv.DictReader(io.StringIO(text, newline=""), restkey=SURPLUS, restval="")
    try:
        columns = [column.strip() for column in reader.fieldnames or []]
        faults = _faults_of_header(table, columns)
        if faults:
            raise TableUnreadable(table, faults)
        reader.fieldnames = columns
        records = [_record(shape, row) for row in reader]
    except csv.Error as fault:
        detail = ProblemDetail(
            pointer="/rows", reason=f"line {reader.line_num}: {fault}", remedy="CSV with commas and double quotes"
        )
        raise TableUnreadable(table, [detail]) from fault
    if not records and table not in MAY_BE_EMPTY:
        detail = ProblemDetail(pointer="/rows", reason="the table has no row", figure=0, limit=1, remedy="send all its rows")
        raise TableUnreadable(table, [detail])
    return validated_rows(table, records)


def validated_rows(table: str, records: Sequence[dict[str, Any]]) -> tuple[RateRow, ...]:
    """Rows of `table` from records as they came in JSON or CSV; raises `TableUnreadable` naming every wrong cell."""
    shape = TABLES[table]
    rows: list[RateRow] = []
    errors: list[ProblemDetail] = []
    names: dict[str, int] = {}
    for number, record in enumerate(records):
        try:
            row = shape.model_validate(record)
        except ValidationError as fault:
            errors += [_detail(number, error) for error in fault.errors(include_url=False)]
            continue
        if row.name in names:
            errors.append(
                ProblemDetail(
                    pointer=f"/rows/{number}/name",
                    figure=row.name,
                    limit="each name once",
                    reason=f"/rows/{names[row.name]} has the same name",
                    remedy="give the row a name of its own",
                )
            )
        names.setdefault(row.name, number)
        rows.append(row)
    if errors:
        raise TableUnreadable(table, errors)
    return tuple(rows)


def rows_to_csv(table: str, rows: Sequence[RateRow]) -> str:
    """CSV of `rows`; `rows_from_csv` reads it back to equal rows. Texts that a spreadsheet would calculate have an apostrophe before them."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, fieldnames=_field_names(TABLES[table]), lineterminator="\n")
    writer.writeheader()
    for row in rows:
        record = row.model_dump(mode="json", by_alias=True)
        writer.writerow({key: _cell(value) for key, value in record.items()})
    return out.getvalue()


def _faults_of_header(table: str, columns: Sequence[str]) -> list[ProblemDetail]:
    known = _field_names(TABLES[table])
    unknown = [
        ProblemDetail(
            pointer=_pointer(0, column),
            reason=f"{table} has no column {_shown(column)}",
            limit=", ".join(known),
            remedy="rename or remove the column",
        )
        for column in columns
        if column not in known
    ]
    twice = [
        ProblemDetail(
            pointer=_pointer(0, column), reason=f"the column {column} stands there {times} times", remedy="remove all but one"
        )
        for column, times in Counter(columns).items()
        if times > 1 and column in known
    ]
    return unknown + twice


def _field_names(shape: type[RateRow]) -> list[str]:
    return [field.alias or name for name, field in shape.model_fields.items()]


def _record(shape: type[RateRow], row: dict[str, Any]) -> dict[str, Any]:
    record: dict[str, Any] = {}
    for name, field in shape.model_fields.items():
        cell = unguarded((row.get(field.alias or name) or "").strip())
        if cell:
            record[field.alias or name] = _value(cell, field.annotation)
    if SURPLUS in row:
        record[SURPLUS] = row[SURPLUS]
    return record


def _value(cell: str, annotation: Any) -> Any:
    """The JSON value of a cell; what does not read as one stays text, and validation says so."""
    if get_origin(annotation) is tuple:
        try:
            return json.loads(cell)
        except (ValueError, RecursionError):
            return cell
    kinds = _plain_types(annotation)
    if bool in kinds and cell.lower() in ("true", "yes", "false", "no"):
        return cell.lower() in ("true", "yes")
    if "_" in cell:  # Python would read 1_000 as a number; a table means something else by it
        return cell
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
    return json.dumps(value, separators=(",", ":")) if isinstance(value, (list, dict)) else guarded(str(value))


def _detail(number: int, error: Any) -> ProblemDetail:
    """One thing that pydantic found in row `number`, with the figure, the limit and what would do."""
    context = error.get("ctx") or {}
    key = next((key for key in LIMITS if key in context), None)
    limit = context.get("limit") if key is None else context[key]
    return ProblemDetail(
        pointer=_pointer(number, *error["loc"]),
        reason=_shown(error["msg"]),
        figure=None if error["type"] == "missing" else _shown(error["input"]),
        limit=_shown(limit),
        remedy=context.get("remedy") or (LIMITS[key].format(limit) if key else REMEDIES.get(error["type"])),
    )


def _pointer(number: int, *steps: Any) -> str:
    """JSON pointer of a cell (RFC 6901)."""
    return "/".join(["/rows", str(number), *(str(_shown(str(step))).replace("~", "~0").replace("/", "~1") for step in steps)])


def _shown(value: Any) -> Any:
    """A value as an answer can carry it: finite, short, printable."""
    if value is None or isinstance(value, bool) or (isinstance(value, (int, float)) and abs(value) < 2**63):
        return value
    if isinstance(value, int):
        return f"a whole number of {value.bit_length()} bits"
    text = str(value) if isinstance(value, (str, float, Decimal)) else f"{type(value).__name__} {str(value)[:80]}"
    return "".join(c if c.isprintable() else "?" for c in text)[:400]
