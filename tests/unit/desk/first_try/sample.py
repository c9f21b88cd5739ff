"""One file as a customer would send it, and what is to become of it."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from openpyxl import Workbook


@dataclass(frozen=True)
class Piece:
    """An element as it was meant: glass, radii (`None` plane), centre thickness, outer diameter, all in mm."""

    glass: str | dict[str, float]
    front_mm: float | None
    back_mm: float | None
    thickness_mm: float
    diameter_mm: float | None = None


@dataclass(frozen=True)
class Sample:
    """A file, and how it must come out.

    `lens` is what stands in the prescription when every question has been answered by `answers`, from words of the question to the answer
    (`""` for the first choice). Each of `asks` must be in one question, and no other question is asked. `refused` are words of the
    refusal. `assumed` are words that must be among the assumptions, `holds` values that must stand at places of the request. `cells` are
    the cells of the file as its own program would show them, by (sheet, row from 1, column from 1). `rays`: the check is asked for real.
    """

    name: str
    content: bytes
    lens: tuple[Piece, ...] = ()
    asks: tuple[str, ...] = ()
    answers: Mapping[str, str] = field(default_factory=dict)
    refused: str = ""
    assumed: tuple[str, ...] = ()
    holds: Mapping[str, Any] = field(default_factory=dict)
    cells: Mapping[tuple[str, int, int], str] = field(default_factory=dict)
    words: tuple[str, ...] = ()
    rays: bool = False

    @property
    def expected(self) -> str:
        """Read, asked or refused."""
        return "refused" if self.refused else "asked" if self.asks else "read"


def table(
    name: str, rows: Sequence[Sequence[str]], *, by: str = ",", encoding: str = "utf-8", newline: str = "\n", **expected: Any
) -> Sample:
    """A text file with separated cells; a cell with the separator, a quotation mark or a line in it is quoted as spreadsheets do."""

    def written(cell: str) -> str:
        return '"' + cell.replace('"', '""') + '"' if by in cell or '"' in cell or "\n" in cell else cell

    text = newline.join(by.join(map(written, row)) for row in rows) + newline
    cells = {
        ("", i, j): cell.strip() for i, row in enumerate(rows, start=1) for j, cell in enumerate(row, start=1) if cell.strip()
    }  # fmt: skip
    return Sample(name, text.encode(encoding), cells=cells, **expected)


def letter(name: str, text: str, *, encoding: str = "utf-8", **expected: Any) -> Sample:
    """Free text; every word of it must be accounted for."""
    return Sample(name, text.encode(encoding), words=tuple(text.split()), **expected)


def workbook(name: str, sheets: Mapping[str, Sequence[Sequence[Any]]], **expected: Any) -> Sample:
    """A workbook with these sheets, cell by cell."""
    book = Workbook()
    book.remove(book.active)
    cells: dict[tuple[str, int, int], str] = {}
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for i, row in enumerate(rows, start=1):
            for j, value in enumerate(row, start=1):
                if value is not None and value != "":
                    sheet.cell(i, j, value)
                    cells[title, i, j] = f"{value:g}" if isinstance(value, float) else str(value)
    out = io.BytesIO()
    book.save(out)
    return Sample(name, out.getvalue(), cells=cells, **expected)
