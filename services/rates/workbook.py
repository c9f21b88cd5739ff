"""All tables as one spreadsheet, one sheet a table, and back. Money keeps its decimals; a cell that calculates is refused."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from services.chassis.workbooks import MOST_UNPACKED_BYTES, WorkbookUnreadable, entries_of, opened_workbook
from services.rates.domain.table_csv import rows_to_csv
from services.rates.errors import ArchiveUnreadable, TableUnreadable
from shared_schemas.problem import ProblemDetail
from shared_schemas.rates import TABLES, RateRow

MOST_CELLS = 400_000
_MONEY_FORMAT = re.compile(r"0(\.0+)?")
_GUARDED_LATER = ("=", "+", "-", "@")


def workbook_of(tables: Mapping[str, Sequence[RateRow]]) -> bytes:
    """A spreadsheet of tables."""
    from openpyxl import Workbook  # noqa: PLC0415

    book = Workbook(write_only=True)
    for table, rows in tables.items():
        sheet = book.create_sheet(table)
        lines = list(csv.reader(io.StringIO(rows_to_csv(table, rows))))
        sheet.append(lines[0])
        kinds = [_kind(table, column) for column in lines[0]]
        for line in lines[1:]:
            sheet.append([_cell(sheet, text, kind) for text, kind in zip(line, kinds, strict=True)])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def csv_of_sheets(content: bytes) -> dict[str, str]:
    """The sheets of a spreadsheet that have the name of a table, as CSV; lines are those of the sheet.

    Raises `ArchiveUnreadable` for what is no spreadsheet, has no such sheet or is too large, `TableUnreadable` for a formula.
    """
    try:
        entries_of(content)
        with opened_workbook(content) as book:
            sheets = {sheet.title: sheet for sheet in book.worksheets if sheet.title in TABLES}
            if not sheets:
                raise ArchiveUnreadable(
                    "no sheet has the name of a rate table", ", ".join(sheet.title for sheet in book.worksheets[:5])[:100]
                )
            return {table: _csv_of(table, sheet) for table, sheet in sheets.items()}
    except WorkbookUnreadable as fault:
        words = {
            "no_zip": "it is no spreadsheet of the kind xlsx",
            "too_large": f"unpacked it has {fault.unpacked_bytes} bytes, and {MOST_UNPACKED_BYTES} are read",
            "damaged": f"it cannot be read as a spreadsheet: {fault.detail}",
        }
        raise ArchiveUnreadable(words[fault.why]) from fault


def _csv_of(table: str, sheet: Any) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    cells = 0
    for line in sheet.iter_rows():
        texts = [_text(table, cell) for cell in line]
        while texts and not texts[-1]:
            texts.pop()
        cells += len(texts)
        if cells > MOST_CELLS:
            raise ArchiveUnreadable(f"the sheet {table} has more than {MOST_CELLS} cells")
        writer.writerow(texts)
    return out.getvalue()


def _kind(table: str, column: str) -> str:
    field = next(field for name, field in TABLES[table].model_fields.items() if (field.alias or name) == column)
    words = str(field.annotation)
    if "tuple" in words or "Literal" in words:
        return "text"
    if "Decimal" in words:
        return "money"
    if "bool" in words:
        return "truth"
    if "datetime.date" in words:
        return "day"
    return "figure" if "float" in words or "int" in words else "text"


def _cell(sheet: Any, text: str, kind: str) -> Any:
    from openpyxl.cell import WriteOnlyCell  # noqa: PLC0415

    if not text:
        return None
    if kind == "figure":
        return int(text) if re.fullmatch(r"-?\d{1,15}", text) else float(text)
    if kind == "day":
        return date.fromisoformat(text)
    cell = WriteOnlyCell(sheet, value=Decimal(text) if kind == "money" else text)
    if kind == "money":
        places = len(text.partition(".")[2])
        cell.number_format = "0." + "0" * places if places else "0"
    else:
        cell.data_type = "s"  # also where it begins with a sign that a formula begins with
    return cell


def _text(table: str, cell: Any) -> str:
    value = cell.value
    if value is None:
        return ""
    if cell.data_type == "f":
        detail = ProblemDetail(
            pointer="/rows", reason="the cell calculates", figure=str(value)[:60], remedy="put its value there in place of the formula",
            line=cell.row, column=str(cell.column_letter),
        )  # fmt: skip
        raise TableUnreadable(table, [detail])
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == value.min.time() else value.replace(tzinfo=UTC).isoformat()
    if isinstance(value, (int, float)):
        money = _MONEY_FORMAT.fullmatch(cell.number_format or "")
        return (
            f"{value:.{len(cell.number_format.partition('.')[2])}f}"
            if money and _is_exact(value, cell.number_format)
            else repr(value)
        )
    return str(value)


def _is_exact(value: float, number_format: str) -> bool:
    """Whether the figure shown is the figure itself: a format may hide decimals that somebody typed."""
    return abs(value - round(value, len(number_format.partition(".")[2]))) < 1e-9 * max(1.0, abs(value))
