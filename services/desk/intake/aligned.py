"""Pasted text whose cells only blanks hold apart: cells that stand below each other are a column, also where a cell is empty."""

from __future__ import annotations

import re
from dataclasses import dataclass

from services.desk.errors import TableUnreadable
from shared_schemas.intake import MOST_CELLS
from shared_schemas.problem import ProblemDetail

WORDS = re.compile(r"\S+(?: \S+)*")
WORD = re.compile(r"\S+")
FEWEST = 3
FIGURE = re.compile(r"[+\-\u2212]?[0-9][0-9.,]*")


@dataclass(frozen=True)
class Chunk:
    """A run of characters in a line, from a place to another."""

    start: int
    end: int
    text: str


def split_by_blanks(lines: list[str], name: str, *, wide: bool) -> list[tuple[int, list[str]]]:
    """Number and cells of every line that holds something. `wide` says that two blanks and more part cells, else one does.

    Raises `TableUnreadable` where the lines do not stand below each other and some have fewer cells than others.
    """
    pattern = WORDS if wide else WORD
    chunks = {number: _chunks(line, pattern) for number, line in enumerate(lines, start=1) if line.strip()}
    if sum(map(len, chunks.values())) > MOST_CELLS:
        raise TableUnreadable(name, f"it has more than the {MOST_CELLS} cells that are read")
    table = {number: found for number, found in chunks.items() if len(found) >= FEWEST}
    columns = _columns([chunk for found in table.values() for chunk in found])
    if not _hold(table, columns, wide=wide):
        return _in_order(chunks, name)
    rows = {number for number, found in chunks.items() if number in table or _fits(found, columns)}
    return [
        (number, _cells(found, columns) if number in rows else [" ".join(chunk.text for chunk in found)])
        for number, found in chunks.items()
    ]


def _chunks(line: str, pattern: re.Pattern[str]) -> list[Chunk]:
    return [Chunk(match.start(), match.end(), match[0]) for match in pattern.finditer(line.expandtabs())]


def _columns(chunks: list[Chunk]) -> list[tuple[int, int]]:
    """Stretches in which some line has something, left to right."""
    columns: list[tuple[int, int]] = []
    for chunk in sorted(chunks, key=lambda chunk: chunk.start):
        if columns and chunk.start < columns[-1][1]:
            columns[-1] = (columns[-1][0], max(columns[-1][1], chunk.end))
        else:
            columns.append((chunk.start, chunk.end))
    return columns


def _hold(table: dict[int, list[Chunk]], columns: list[tuple[int, int]], *, wide: bool) -> bool:
    """Whether no line has two cells, of single words two figures, in one column."""
    if len(columns) < FEWEST:
        return False
    for found in table.values():
        for start, end in columns:
            inside = [chunk for chunk in found if start <= chunk.start < end]
            figures = [chunk for chunk in inside if FIGURE.fullmatch(chunk.text)]
            if len(inside) > 1 and (wide or figures):
                return False
    return True


def _fits(found: list[Chunk], columns: list[tuple[int, int]]) -> bool:
    """Whether a line of one or two cells is a row of the table: a figure in it, and each cell below or above a column of its own."""
    below = [[(start, end) for start, end in columns if start <= chunk.start and chunk.end <= end] for chunk in found]
    return any(FIGURE.fullmatch(chunk.text) for chunk in found) and all(below) and len({each[0] for each in below}) == len(found)


def _cells(found: list[Chunk], columns: list[tuple[int, int]]) -> list[str]:
    return [" ".join(chunk.text for chunk in found if start <= chunk.start < end) for start, end in columns]


def _in_order(chunks: dict[int, list[Chunk]], name: str) -> list[tuple[int, list[str]]]:
    """Cells one after the other, where all lines of figures have as many."""
    figures = {number: sum(FIGURE.fullmatch(chunk.text) is not None for chunk in found) for number, found in chunks.items()}
    counts = {number: len(found) for number, found in chunks.items() if len(found) >= FEWEST or figures[number] > 1}
    most = max(counts.values(), default=0)
    short = {number: count for number, count in counts.items() if count != most}
    if short and len(counts) > 1:
        details = [
            ProblemDetail(
                pointer=f"/row {number}",
                reason=f"row {number}: it has {count} cells, others have {most}: which is empty cannot be seen",
                figure=count,
                remedy="part the cells with tabs or semicolons",
            )
            for number, count in short.items()
        ]
        raise TableUnreadable(name, "rows have different numbers of cells, and only blanks part them", *details)
    return [(number, [chunk.text for chunk in found]) for number, found in chunks.items()]
