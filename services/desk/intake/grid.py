"""What a file holds before anybody knows what it means: sheets of cells, each with the place where it stands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from shared_schemas.problem import ProblemDetail


@dataclass(frozen=True)
class Cell:
    """One cell: row from 1, column from 0. `typed` is a number of a workbook or of JSON, whose decimal sign is a point."""

    row: int
    column: int
    text: str
    sheet: str = ""
    typed: bool = False

    @property
    def key(self) -> tuple[str, int, int]:
        """Where it stands, once in a file."""
        return (self.sheet, self.row, self.column)

    @property
    def lowered(self) -> str:
        """The text in small letters, blanks of any kind as one."""
        return " ".join(self.text.lower().split())


@dataclass(frozen=True)
class Grid:
    """One sheet, or the whole of a text: rows of cells, empty ones left out. `separator` is what stands between two cells, `formulas`
    names the cells that calculate."""

    sheet: str
    rows: tuple[tuple[Cell, ...], ...]
    separator: str = ""
    formulas: tuple[ProblemDetail, ...] = ()

    def cells(self) -> Iterator[Cell]:
        """Every cell that holds something."""
        for row in self.rows:
            yield from row


@dataclass(frozen=True)
class Book:
    """A file: its sheets or, of JSON, the document; what was told of its kind, and what was taken by a rule."""

    grids: tuple[Grid, ...] = ()
    document: dict[str, Any] | None = None
    recognised: tuple[str, ...] = ()
    assumed: tuple[tuple[str, str], ...] = field(default=())
    text: str = ""


def letter_of(column: int) -> str:
    """The letter of a column as spreadsheets have it: 0 is A, 26 is AA."""
    letters = ""
    column += 1
    while column > 0:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return letters
