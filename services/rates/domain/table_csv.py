"""A rate table as CSV and back. One column a field, named as the field; lists and ladders stand in their cell as `cells` writes them."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any, get_origin

from pydantic import ValidationError

from services.rates.domain.cells import cell_of, figure_in, list_in
from services.rates.domain.csv_dialect import Cell, decimal_sign, delimiter_of, is_figure, iso_day, with_points
from services.rates.errors import TableUnreadable
from shared_schemas.csv_cells import guarded, unguarded
from shared_schemas.problem import ProblemDetail
from shared_schemas.rates import TABLES, RateRow

MAY_BE_EMPTY = frozenset({"glass_grades", "pressed_aspheres", "outside_work", "operations", "shop_load"})
"""Tables of what a shop may do without: grades beyond the usual glass, pressing aspheres, suppliers, steps of its own, waits."""

MOST_ROWS = 5000
"""More rows no table has."""

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
    "tuple_type": "a list as saw, core; or steps as 0: 54.20; 5: 47.70",
}


def rows_from_csv(table: str, text: str, before: Sequence[Mapping[str, Any]] = ()) -> tuple[RateRow, ...]:
    """Rows of `table` (a name in `TABLES`) from CSV with a header line, in any dialect that `csv_dialect` knows.

    An empty cell is a field left out; spaces around a cell do not count. A column may be left out where the rows of `before`, which are
    to be replaced, say nothing in it. Raises `TableUnreadable` naming row (counted from 0 below the header, as in the JSON form), line and
    column.
    """
    shape = TABLES[table]
    columns, found = _read(table, text)
    turned = _in_our_dialect(table, shape, found)
    records = [_record(shape, row) for _, row in turned]
    if not records and table not in MAY_BE_EMPTY:
        detail = ProblemDetail(pointer="/rows", reason="the table has no row", figure=0, limit=1, remedy="send all its rows")
        raise TableUnreadable(table, [detail])
    lost = _lost_columns(table, columns, before)
    if lost:
        raise TableUnreadable(table, lost)
    return validated_rows(table, records, [line for line, _ in turned])


def _read(table: str, text: str) -> tuple[list[str], list[tuple[int, dict[str, Any]]]]:
    """The columns of a CSV, and its rows with the line that each ends on."""
    delimiter = delimiter_of(text, _field_names(TABLES[table]))
    reader = csv.DictReader(io.StringIO(text, newline=""), restkey=SURPLUS, restval="", delimiter=delimiter)
    found = []
    try:
        columns = [column.strip() for column in reader.fieldnames or []]
        faults = _faults_of_header(table, columns)
        if faults:
            raise TableUnreadable(table, faults)
        reader.fieldnames = columns
        for row in reader:
            if any(cell and (not isinstance(cell, str) or cell.strip()) for cell in row.values()):
                found.append((reader.line_num, row))
            if len(found) > MOST_ROWS:
                raise TableUnreadable(table, [_too_long()])
    except csv.Error as fault:
        detail = ProblemDetail(
            pointer="/rows",
            reason=f"line {reader.line_num}: {fault}",
            remedy="CSV with commas and double quotes",
            line=reader.line_num,
        )
        raise TableUnreadable(table, [detail]) from fault
    # A cell of spaces in the column beyond the last is none.
    return columns, [(line, {name: cell for name, cell in row.items() if name != SURPLUS or any(part.strip() for part in cell)})
                     for line, row in found]  # fmt: skip


def _too_long() -> ProblemDetail:
    return ProblemDetail(
        pointer="/rows", reason=f"the table has more than {MOST_ROWS} rows", limit=MOST_ROWS, remedy="the rows that are used"
    )  # fmt: skip


def _in_our_dialect(table: str, shape: type[RateRow], found: list[tuple[int, dict[str, Any]]]) -> list[tuple[int, dict[str, Any]]]:
    """The cells with points in their figures and days as 2026-11-02; raises `TableUnreadable` where that could mean two things."""
    kinds = {field.alias or name: field.annotation for name, field in shape.model_fields.items()}
    figures = [
        Cell(str(row.get(column) or "").strip(), number, line, column)
        for number, (line, row) in enumerate(found)
        for column, kind in kinds.items()
        if is_figure(kind) and get_origin(kind) is not tuple
    ]
    commas = decimal_sign(table, figures) == ","
    return [
        (line, {column: _turned(cell, kinds.get(column), commas=commas) for column, cell in row.items()}) for line, row in found
    ]  # fmt: skip


def _turned(cell: Any, kind: Any, *, commas: bool) -> Any:
    if not isinstance(cell, str) or kind is None:
        return cell
    day = iso_day(cell.strip(), kind)
    return with_points(day, kind) if commas else day


def _lost_columns(table: str, columns: Sequence[str], before: Sequence[Mapping[str, Any]]) -> list[ProblemDetail]:
    """Columns that are not there although rows to be replaced say something in them."""
    shape, faults = TABLES[table], []
    for name, field in shape.model_fields.items():
        column = field.alias or name
        if column in columns or field.is_required():
            continue
        losing = [str(row["name"]) for row in before if column in row and not _follows(shape, row, column)]
        if losing:
            some = ", ".join(losing[:3]) + (f" and {len(losing) - 3} more" if len(losing) > 3 else "")
            reason = f"the column {column} is missing, and {some} {'has' if len(losing) == 1 else 'have'} something in it"
            faults.append(ProblemDetail(pointer=_pointer(0, column), reason=reason, remedy="add the column, with empty cells where that is meant", line=1, column=column))  # fmt: skip
    return faults


def _follows(shape: type[RateRow], row: Mapping[str, Any], column: str) -> bool:
    """Whether a row is the same without what it says in a column."""
    try:
        return shape.model_validate(row) == shape.model_validate({name: value for name, value in row.items() if name != column})
    except ValidationError:
        return False


def validated_rows(table: str, records: Sequence[dict[str, Any]], lines: Sequence[int] = ()) -> tuple[RateRow, ...]:
    """Rows of `table` from records as they came in JSON or CSV, where `lines` are theirs; raises `TableUnreadable` naming every wrong cell."""
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
        raise TableUnreadable(table, [_with_line(error, lines) for error in errors] if lines else errors)
    return tuple(rows)


def _with_line(error: ProblemDetail, lines: Sequence[int]) -> ProblemDetail:
    _, _, number, *column = error.pointer.split("/")
    return error.model_copy(update={"line": lines[int(number)], "column": column[0] if column else None})


def rows_to_csv(table: str, rows: Sequence[RateRow]) -> str:
    """CSV of `rows`; `rows_from_csv` reads it back to equal rows. Texts that a spreadsheet would calculate have an apostrophe before them."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, fieldnames=_field_names(TABLES[table]), lineterminator="\n")
    writer.writeheader()
    kinds = {field.alias or name: field.annotation for name, field in TABLES[table].model_fields.items()}
    for row in rows:
        record = row.model_dump(mode="json", by_alias=True)
        writer.writerow({key: _cell(value, kinds[key]) for key, value in record.items()})
    return out.getvalue()


def _faults_of_header(table: str, columns: Sequence[str]) -> list[ProblemDetail]:
    shape, known = TABLES[table], _field_names(TABLES[table])
    other = _other_table(table, columns)
    if other is not None:
        reason, remedy = f"these are the columns of {other}", f"send it as {other}, or the table {table}"
        return [ProblemDetail(pointer="/rows", reason=reason, figure=other, limit=table, remedy=remedy, line=1)]
    unknown = [
        ProblemDetail(
            pointer=_pointer(0, column), reason=f"{table} has no column {_shown(column)}", limit=", ".join(known),
            remedy="rename or remove the column", line=1,
        )
        for column in columns
        if column not in known
    ]  # fmt: skip
    twice = [
        ProblemDetail(
            pointer=_pointer(0, column),
            reason=f"the column {column} stands there {times} times",
            remedy="remove all but one",
            line=1,
        )
        for column, times in Counter(columns).items()
        if times > 1 and column in known
    ]
    needed = [field.alias or name for name, field in shape.model_fields.items() if field.is_required()]
    missing = [
        ProblemDetail(
            pointer=_pointer(0, column), reason=f"the column {column} is missing", remedy="add the column", line=1, column=column
        )
        for column in needed
        if column not in columns
    ]
    return unknown + twice + missing


def _other_table(table: str, columns: Sequence[str]) -> str | None:
    """The table whose columns these are, when they are not those of `table`."""
    given = set(columns)

    def known(name: str) -> int:
        return len(given & set(_field_names(TABLES[name])))

    best = max(TABLES, key=known)
    return best if given - set(_field_names(TABLES[table])) and known(best) > known(table) and known(best) == len(given) else None


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
    return list_in(cell, annotation) if get_origin(annotation) is tuple else figure_in(cell, annotation)


def _cell(value: Any, annotation: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return guarded(cell_of(value, annotation) if isinstance(value, list) else str(value))


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
