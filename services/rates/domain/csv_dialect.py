"""How a CSV was written: its encoding, what stands between its cells, and which sign its decimals have.

A spreadsheet of a German, French or Dutch shop writes `;` between cells, a decimal comma and dd.mm.yyyy, in UTF-8, Windows-1252 or with a
byte order mark. What could be read in two ways is refused with its line.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from services.rates.domain.cells import plain_types
from services.rates.errors import TableUnreadable
from shared_schemas.problem import ProblemDetail

DELIMITERS = (",", ";", "\t")
_COMMA = re.compile(r"[+-]?\d*,\d+")
_POINT = re.compile(r"[+-]?\d*\.\d+")
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}([.,]\d{3})+")
_BOTH = re.compile(r"[+-]?\d[\d.,]*([.,])\d+")
_DAY = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})")


def decoded(table: str, body: bytes) -> str:
    """The text of a CSV body: UTF-8 or UTF-16 with a byte order mark, UTF-8 without, otherwise Windows-1252.

    Raises `TableUnreadable` naming the line of a byte that stands for nothing.
    """
    try:
        if body[:2] in (b"\xff\xfe", b"\xfe\xff"):
            return body.decode("utf-16")
        return body.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        try:
            # Latin-1 is the same but for signs that no text has.
            return body.decode("cp1252")
        except UnicodeDecodeError:
            line = body.count(b"\n", 0, fault.start) + 1
            detail = ProblemDetail(pointer="/rows", reason=f"line {line} is not UTF-8", remedy="save the CSV as UTF-8", line=line)
            raise TableUnreadable(table, [detail]) from fault


def delimiter_of(text: str, known: Collection[str]) -> str:
    """What stands between the cells: that by which most names of columns are found in the first line."""
    head = text.split("\n", maxsplit=1)[0]

    def found(delimiter: str) -> int:
        return len({name.strip().strip('"') for name in head.split(delimiter)} & set(known))

    return max(DELIMITERS, key=found)


@dataclass(frozen=True)
class Cell:
    """A cell of a figure, with where it stands."""

    text: str
    row: int
    line: int
    column: str


def decimal_sign(table: str, cells: Iterable[Cell]) -> str:
    """`,` or `.`, as the figures of a table are written; raises `TableUnreadable` where that cannot be told."""
    figures = list(cells)
    commas = [cell for cell in figures if _COMMA.fullmatch(cell.text)]
    points = [cell for cell in figures if _POINT.fullmatch(cell.text)]
    both = [cell for cell in figures if "," in cell.text and "." in cell.text and _BOTH.fullmatch(cell.text)]
    if both:
        raise _ambiguous(table, both, "it has a comma and a point", "write it without a sign between thousands")
    if not commas:
        return "."
    if points:
        raise _ambiguous(
            table, commas, f"it has a comma, and line {points[0].line} has a point", "write all decimals with the same sign"
        )
    if all(_THOUSANDS.fullmatch(cell.text) for cell in commas):
        raise _ambiguous(
            table, commas, "it may be a thousand or a decimal", "write it with a point, or without a sign between thousands"
        )
    return ","


def _ambiguous(table: str, cells: Sequence[Cell], reason: str, remedy: str) -> TableUnreadable:
    return TableUnreadable(table, [
        ProblemDetail(pointer=f"/rows/{cell.row}/{cell.column}", reason=reason, figure=cell.text[:60], remedy=remedy, line=cell.line,
                      column=cell.column)
        for cell in cells
    ])  # fmt: skip


def is_figure(annotation: Any) -> bool:
    """Whether a column holds figures."""
    return bool(plain_types(annotation) & {int, float, Decimal})


def with_points(cell: str, annotation: Any) -> str:
    """A cell of decimal commas with points; also within ladders, where `;` and `:` stand between figures."""
    if is_figure(annotation) and _COMMA.fullmatch(cell):
        return cell.replace(",", ".")
    if ":" in cell and cell[:1] != "[":
        return re.sub(r"(?<![\w.])(\d+),(\d+)(?![\w.])", r"\1.\2", cell)
    return cell


def iso_day(cell: str, annotation: Any) -> str:
    """A day as 2026-11-02, also where it is written 02.11.2026."""
    read = _DAY.fullmatch(cell)
    return f"{read[3]}-{int(read[2]):02}-{int(read[1]):02}" if read and date in plain_types(annotation) else cell
