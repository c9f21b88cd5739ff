"""The sheets of a customer's workbook (XLSX), opened as what a stranger sends: nothing is calculated, no bomb is unpacked."""

from __future__ import annotations

import io
import zipfile
import zlib
from datetime import date, datetime, time
from typing import Any

from services.desk.errors import TableUnreadable
from services.desk.intake.grid import Book, Cell, Grid, letter_of
from shared_schemas.intake import MOST_CELLS, MOST_ROWS
from shared_schemas.problem import ProblemDetail

DAMAGED = (
    zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, OSError, ValueError, LookupError,
)  # fmt: skip
"""What `zipfile` raises for a zip that is damaged, encrypted, or packed in a way that it does not know."""

MOST_CHARACTERS = 2000
"""Of one cell."""

MOST_UNPACKED_BYTES = 64 * 1024 * 1024


def book_of_workbook(content: bytes, name: str) -> Book:
    """The sheets of a workbook. Raises `TableUnreadable`; cells that calculate are named by their sheets."""
    from openpyxl import load_workbook  # noqa: PLC0415
    from openpyxl.utils.exceptions import InvalidFileException  # noqa: PLC0415

    _refuse_other_archives(content, name)
    try:
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=False, keep_links=False)
        grids = tuple(_grid(sheet, name) for sheet in book.worksheets if sheet.sheet_state == "visible")
        hidden = [sheet.title for sheet in book.worksheets if sheet.sheet_state != "visible"]
    except (*DAMAGED, InvalidFileException, SyntaxError, TypeError, AttributeError) as fault:
        raise TableUnreadable(name, f"it is a workbook that is damaged: {str(fault)[:100]}; save it again, or as CSV") from fault
    if not any(grid.rows for grid in grids):
        raise TableUnreadable(name, "every sheet of it is empty; the first row of a table must name its columns")
    assumed = tuple((f"the sheet {title}", "a hidden sheet is not read") for title in hidden)
    return Book(
        grids=grids, recognised=(f"a workbook of {len(grids)} {'sheet' if len(grids) == 1 else 'sheets'}",), assumed=assumed
    )


def _refuse_other_archives(content: bytes, name: str) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            unpacked = sum(entry.file_size for entry in packed.infolist())
            inner = set(packed.namelist())
    except DAMAGED as fault:
        raise TableUnreadable(name, "it is a workbook or an archive that is damaged; save the sheet as CSV or XLSX") from fault
    if unpacked > MOST_UNPACKED_BYTES:
        raise TableUnreadable(
            name, f"unpacked it has {unpacked} bytes, and {MOST_UNPACKED_BYTES} are read; send the sheet of the lens alone"
        )
    if "[Content_Types].xml" not in inner or not any(entry.startswith("xl/") for entry in inner):
        what = "a text document" if any(entry.startswith("word/") for entry in inner) else "an archive, not a workbook (XLSX)"
        raise TableUnreadable(name, f"it is {what}; send the sheet of the lens as XLSX or CSV")


def _grid(sheet: Any, name: str) -> Grid:
    rows = []
    formulas = []
    count = 0
    sheet.reset_dimensions()  # what a stranger's file says of its own size is not to be believed
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
