"""The sheets of a customer's workbook (XLSX), opened as what a stranger sends: nothing is calculated, no bomb is unpacked."""

from __future__ import annotations

from datetime import date, datetime, time
from typing import Any

from services.chassis.workbooks import MOST_UNPACKED_BYTES, WorkbookUnreadable, entries_of, opened_workbook
from services.desk.errors import TableUnreadable
from services.desk.intake.grid import Book, Cell, Grid, letter_of
from shared_schemas.intake import MOST_CELLS, MOST_ROWS
from shared_schemas.problem import ProblemDetail

MOST_CHARACTERS = 2000
"""Of one cell."""


def book_of_workbook(content: bytes, name: str) -> Book:
    """The sheets of a workbook. Raises `TableUnreadable`; cells that calculate are named by their sheets."""
    try:
        _refuse_other_archives(entries_of(content), name)
        with opened_workbook(content) as book:
            grids = tuple(_grid(sheet, name) for sheet in book.worksheets if sheet.sheet_state == "visible")
            hidden = [sheet.title for sheet in book.worksheets if sheet.sheet_state != "visible"]
    except WorkbookUnreadable as fault:
        words = {
            "no_zip": "it is a workbook or an archive that is damaged; save the sheet as CSV or XLSX",
            "too_large": f"unpacked it has {fault.unpacked_bytes} bytes, and {MOST_UNPACKED_BYTES} are read; send the sheet of the lens alone",
            "damaged": f"it is a workbook that is damaged: {fault.detail}; save it again, or as CSV",
        }
        raise TableUnreadable(name, words[fault.why]) from fault
    if not any(grid.rows for grid in grids):
        raise TableUnreadable(name, "every sheet of it is empty; the first row of a table must name its columns")
    assumed = tuple((f"the sheet {title}", "a hidden sheet is not read") for title in hidden)
    return Book(
        grids=grids, recognised=(f"a workbook of {len(grids)} {'sheet' if len(grids) == 1 else 'sheets'}",), assumed=assumed
    )


def _refuse_other_archives(inner: set[str], name: str) -> None:
    if "[Content_Types].xml" not in inner or not any(entry.startswith("xl/") for entry in inner):
        what = "a text document" if any(entry.startswith("word/") for entry in inner) else "an archive, not a workbook (XLSX)"
        raise TableUnreadable(name, f"it is {what}; send the sheet of the lens as XLSX or CSV")


def _grid(sheet: Any, name: str) -> Grid:
    rows = []
    formulas = []
    count = 0
    for line in sheet.iter_rows():
        cells = []
        for cell in line:
            if cell.value is None or not str(cell.value).strip():
                continue
            column = cell.column - 1
            if cell.data_type == "f":
                formulas.append(_formula(sheet.title, cell.row, column, str(getattr(cell.value, "text", cell.value))))
            typed = isinstance(cell.value, (int, float)) and not isinstance(cell.value, bool)
            text = _text(cell.value)
            if len(text) > MOST_CHARACTERS:
                raise TableUnreadable(
                    name, f"sheet {sheet.title}, row {cell.row} has a cell of {len(text)} characters; {MOST_CHARACTERS} are read"
                )
            cells.append(Cell(cell.row, column, text, sheet.title, typed))
        count += len(cells)
        if cells:
            rows.append(tuple(cells))
        if count > MOST_CELLS or len(rows) > MOST_ROWS:
            raise TableUnreadable(
                name, f"the sheet {sheet.title} has more than the {MOST_ROWS} rows or {MOST_CELLS} cells that are read"
            )
    return Grid(sheet.title, tuple(rows), formulas=tuple(formulas))


def _formula(sheet: str, row: int, column: int, formula: str) -> ProblemDetail:
    return ProblemDetail(
        pointer=f"/{sheet}/{letter_of(column)}{row}", reason=f"sheet {sheet}, row {row}, column {letter_of(column)}: the cell calculates",
        figure=formula[:60], remedy="put its value there in place of the formula", line=row, column=letter_of(column),
    )  # fmt: skip


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time() else value.isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return repr(value).removesuffix(".0")
    return str(value).strip()
