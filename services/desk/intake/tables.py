"""Where in a sheet a table of lenses stands: the row of its heads under title rows, one or two rows deep, and the rows below it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from services.desk.intake.grid import Cell, Grid
from services.desk.intake.heads import GEOMETRY, SEEN, Head, head_of
from services.desk.intake.layout import AIR, CEMENT
from services.desk.intake.lines import Line, is_keyed
from services.desk.intake.units import mm_per

FEWEST_HEADS = 3
TOTAL = re.compile(r"\W*(?:total|sub-?total|sum|summe|gesamt|somme|length)\b", re.IGNORECASE)
"""How a row begins that adds up those above it."""

ROW_WORDS = (
    "obj",
    "object",
    "objekt",
    "objet",
    "img",
    "ima",
    "image",
    "bild",
    "stop",
    "sto",
    "blende",
    "ast",
    "iris",
    "diaphragm",
    "diaphragme",
    "aperture stop",
)


@dataclass(frozen=True)
class Row:
    """One row of a table: its number and its cells by their columns."""

    number: int
    cells: Mapping[int, Cell]


@dataclass(frozen=True)
class Table:
    """A table: its heads by column, what heads nobody knows, the cells of the heads, and the rows; the lines that stand between them."""

    grid: Grid
    heads: Mapping[int, Head]
    unknown: Mapping[int, str]
    head_cells: tuple[Cell, ...]
    rows: tuple[Row, ...]
    between: tuple[Line, ...] = ()
    turned: bool = False
    head_row: int = 0
    width: int = 0

    @property
    def per_element(self) -> bool:
        """Whether a row is an element, with both its radii."""
        return any(head.kind in GEOMETRY and head.face for head in self.heads.values())

    @property
    def span(self) -> str:
        """The rows that it takes, as a person names them."""
        last = self.rows[-1].number if self.rows else self.head_row
        word = "columns" if self.turned else "rows"
        return f"{word} {self.head_row} to {last}"

    def columns(self, kind: str) -> list[int]:
        """The columns of a kind, left to right."""
        return [column for column, head in sorted(self.heads.items()) if head.kind == kind]


@dataclass
class _Found:
    heads: dict[int, Head]
    unknown: dict[int, str]
    cells: list[Cell]
    deep: int
    with_units: bool = False


@dataclass
class Sheet:
    """What stands on one sheet: tables of lenses, and the lines outside of them."""

    grid: Grid
    tables: list[Table] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)
    seen: tuple[str, ...] = ()


def sheet_of(grid: Grid) -> Sheet:
    """The tables and lines of a sheet; where no row has heads, perhaps a column has."""
    rows = [Row(cells[0].row, {cell.column: cell for cell in cells}) for cells in grid.rows]
    sheet = _sheet(grid, rows, turned=False)
    if sheet.tables:
        return sheet
    across: dict[int, dict[int, Cell]] = {}
    for cell in grid.cells():
        across.setdefault(cell.column, {})[cell.row] = cell
    turned = _sheet(grid, [Row(column + 1, cells) for column, cells in sorted(across.items())], turned=True)
    return turned if turned.tables else sheet


def _sheet(grid: Grid, rows: list[Row], *, turned: bool) -> Sheet:
    sheet = Sheet(grid)
    best: list[str] = []
    at = 0
    while at < len(rows):
        found = _heads_at(rows, at, turned=turned)
        if found is None:
            words = [cell.text for cell in rows[at].cells.values() if not re.search(r"\d", cell.text)]
            best = words if len(words) > len(best) else best
            sheet.lines += _lines(rows[at])
            at += 1
            continue
        at = _take(sheet, rows, at, found, turned=turned)
    sheet.seen = tuple(word[:40] for word in best[:12])
    return sheet


def _lines(row: Row) -> list[Line]:
    cells = tuple(cell for _, cell in sorted(row.cells.items()))
    return [Line(row.number, cells)] if cells else []


def _heads_at(rows: list[Row], at: int, *, turned: bool) -> _Found | None:
    """The heads that begin in a row, one or two rows deep, whichever says more."""
    one = _of_texts({column: cell.text for column, cell in rows[at].cells.items()}, list(rows[at].cells.values()), 1)
    best = one
    if at + 1 < len(rows) and not turned:
        below = _of_texts({column: cell.text for column, cell in rows[at + 1].cells.items()}, [], 1)
        two = [found for found in _two_deep(rows[at], rows[at + 1]) if len(found.heads) > len(below.heads)]
        best = max([one, *two], key=lambda found: len(found.heads) - 0.1 * found.deep + 0.5 * found.with_units)
    kinds = {head.kind for head in best.heads.values()}
    enough = len([head for head in best.heads.values() if head.kind in SEEN]) >= FEWEST_HEADS - (1 if turned else 0)
    if not kinds & set(GEOMETRY) or not enough:
        return None
    if turned:
        best.unknown = {column: text for column, text in best.unknown.items() if any(column in row.cells for row in rows[at + 1 :])}
        best.cells = [cell for cell in best.cells if cell.row in {*best.heads, *best.unknown}]
    return best


def _of_texts(texts: Mapping[int, str], cells: list[Cell], deep: int) -> _Found:
    heads = {column: head for column, text in texts.items() if (head := head_of(text)) is not None}
    return _Found(heads, {column: text for column, text in texts.items() if column not in heads}, cells, deep)


def _two_deep(upper: Row, lower: Row) -> list[_Found]:
    """The heads of two rows read as one: units below names, or names that go over two rows; also where the upper one spans several columns."""
    if (
        any(re.fullmatch(r"[+-]?[0-9]+[.,]?[0-9]*", cell.text) for column, cell in lower.cells.items() if column in upper.cells)
        or not lower.cells
    ):
        return []
    cells = [*upper.cells.values(), *lower.cells.values()]
    columns = sorted({*upper.cells, *lower.cells})
    if all(mm_per(cell.text) is not None or _is_unit(cell.text) for cell in lower.cells.values()):
        bracketed = {
            column: f"({lower.cells[column].text.strip('()[] ')})"
            for column in lower.cells
            if lower.cells[column].text.strip("()[] -")
        }
        texts = {
            column: " ".join(part for part in (_text(upper, column), bracketed.get(column, "")) if part)
            for column in columns
            if _text(upper, column)
        }
        found = _of_texts(texts, cells, 2)
        found.with_units = True
        return [found] if found.heads else []
    plain = {column: " ".join(part for part in (_text(upper, column), _text(lower, column)) if part) for column in columns}
    filled, last = {}, ""
    for column in columns:
        last = _text(upper, column) or last
        filled[column] = (
            " ".join(part for part in (last, _text(lower, column)) if part) if column in lower.cells else _text(upper, column)
        )
    return [_of_texts(plain, cells, 2), _of_texts(filled, cells, 2)]


def _is_unit(text: str) -> bool:
    return text.strip("()[] ").lower() in (
        "",
        "-",
        "nm",
        "fringes",
        "fr",
        "fr.",
        "deg",
        "°",
        "arcmin",
        "arcsec",
        "'",
        '"',
        "λ",
        "waves",
        "ringe",
        "1/mm",
        "mm-1",
        "mm^-1",
        "1/in",
    )


def _text(row: Row, column: int) -> str:
    return row.cells[column].text if column in row.cells else ""


def _take(sheet: Sheet, rows: list[Row], at: int, found: _Found, *, turned: bool) -> int:
    """The table below heads; the row behind it."""
    body: list[Row] = []
    between: list[Line] = []
    head_row = rows[at].number
    at += found.deep
    while at < len(rows) and _heads_at(rows, at, turned=turned) is None:
        row = rows[at]
        if _is_row(row, found.heads):
            body.append(row)
        else:
            between += _lines(row)
        at += 1
    last = body[-1].number if body else head_row
    sheet.lines += [line for line in between if line.number > last]
    inside = tuple(line for line in between if line.number <= last)
    width = max([*found.heads, *found.unknown]) + 1
    sheet.tables.append(
        Table(sheet.grid, found.heads, found.unknown, tuple(found.cells), tuple(body), inside, turned, head_row, width)
    )
    return at


def _is_row(row: Row, heads: Mapping[int, Head]) -> bool:
    """Whether a row has figures under heads, or is a row of object, stop or image; a line of words alone is none."""
    cells = tuple(cell for _, cell in sorted(row.cells.items()))
    if is_keyed(cells) or TOTAL.match(cells[0].text):
        return False
    under = {heads[column].kind: cell for column, cell in row.cells.items() if column in heads}
    if (
        any(re.search(r"\d|[\u221e]", cell.text) for kind, cell in under.items() if kind not in ("surface", "comment", "element"))
        and len(cells) > 1
    ):
        return True
    word = cells[0].lowered.strip(" .:")
    return word in (*ROW_WORDS, *CEMENT, *AIR[1:]) or (len(cells) > 1 and len(under) > 1 and len(cells[0].text) <= 20)
