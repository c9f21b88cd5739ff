"""Bytes or pasted text become sheets of cells: text in any usual encoding and with any usual separator, workbooks, JSON.

What is none of these is refused by its name, with what would do.
"""

from __future__ import annotations

import codecs
import csv
import json
import re
from collections.abc import Iterable
from typing import Any, NoReturn

from services.desk.errors import TableUnreadable
from services.desk.intake.aligned import split_by_blanks
from services.desk.intake.grid import Book, Cell, Grid
from services.desk.intake.workbook import MOST_CHARACTERS, book_of_workbook
from shared_schemas.csv_cells import unguarded
from shared_schemas.intake import MOST_BYTES, MOST_CELLS, MOST_ROWS

WIDE = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
WORKBOOK = b"PK\x03\x04"
REFUSED = {
    b"%PDF": ("a PDF", "copy its table into a spreadsheet or text and send that"),
    b"\xd0\xcf\x11\xe0": ("a workbook of the old kind (xls), or another old office file", "save it as XLSX or CSV"),
    b"\x89PNG": ("a picture", "type the table off, or send the file that it was made from"),
    b"\xff\xd8\xff": ("a picture", "type the table off, or send the file that it was made from"),
    b"GIF8": ("a picture", "type the table off, or send the file that it was made from"),
    b"\x1f\x8b": ("packed", "unpack it first"),
    b"7z\xbc\xaf": ("packed", "unpack it first"),
    b"Rar!": ("packed", "unpack it first"),
    b"{\\rtf": ("a text with formats (RTF)", "save it as plain text or CSV"),
}
"""How files begin that are no table, what they are, and what would do."""

LATIN = "characters beyond ASCII are read as Windows-1252 (Latin-1), as the file is not UTF-8"
MOST_LINES = 10 * MOST_ROWS
"""With those that are empty."""

MOST_SHARE_OF_CONTROLS = 0.001
RULE = re.compile(r"[\s|:+=_.\-\u2500-\u257f]*")
"""A line that only rules off, as below the heads of a table in Markdown."""


def book_of(content: bytes | str, name: str) -> Book:
    """The sheets of a file or of a pasted text. Raises `TableUnreadable`."""
    if len(content) > MOST_BYTES:
        size = f"{len(content) / 1024 / 1024:.1f} MB"
        raise TableUnreadable(
            name, f"it has {size}, and {MOST_BYTES // 1024 // 1024} MB are read; send the sheet of the lens alone"
        )
    if isinstance(content, bytes):
        for begin, (what, remedy) in REFUSED.items():
            if content.startswith(begin):
                raise TableUnreadable(name, f"it is {what}, which is not read; {remedy}")
        if content.startswith(WORKBOOK):
            return book_of_workbook(content, name)
        text, rules = decoded(content, name)
    else:
        text, rules = content.lstrip("\ufeff"), ()
        _refuse_controls(text, name)
    assumed = tuple(("the encoding", rule) for rule in rules)
    if text.lstrip()[:1] in ("{", "["):
        return _book_of_json(text, name, assumed)
    grid = grid_of(text, name)
    return Book(grids=(grid,), recognised=(f"text, {SEPARATORS[grid.separator]} between the cells",), assumed=assumed, text=text)


def decoded(content: bytes, name: str) -> tuple[str, tuple[str, ...]]:
    """The text of a file: UTF-8, UTF-16, or Windows-1252 by a rule that is told. Raises `TableUnreadable` for what is no text."""
    rules: tuple[str, ...] = ()
    if content.startswith(WIDE):
        try:
            text = content.decode("utf-16")
        except UnicodeDecodeError as fault:
            raise TableUnreadable(name, f"byte {fault.start} is not UTF-16 text; save it as UTF-8") from fault
    elif (wide := _unmarked_wide(content)) is not None:
        text, rules = content.decode(wide), (f"it is read as {wide.upper()}, of which it has no mark",)
    else:
        try:
            text = content.decode("utf-8-sig")
        except UnicodeDecodeError:
            text, rules = content.decode("cp1252", "replace"), (LATIN,)
    _refuse_controls(text, name)
    return text, rules


def _unmarked_wide(content: bytes) -> str | None:
    """UTF-16 without its mark: every other byte of Latin text is 0."""
    sample = content[:2000]
    half = len(sample) // 2
    for wide, zeros in (("utf-16-le", sample[1::2].count(0)), ("utf-16-be", sample[0::2].count(0))):
        if half > 8 and zeros > 0.8 * half and len(content) % 2 == 0:
            try:
                content.decode(wide)
            except UnicodeDecodeError:
                return None
            return wide
    return None


def _refuse_controls(text: str, name: str) -> None:
    if "\x00" in text:
        raise TableUnreadable(
            name, f"character {text.index(chr(0))} is NUL, so it is binary and no table; save the table as CSV or XLSX"
        )
    controls = sum(1 for character in text if ord(character) < 32 and character not in "\t\n\r\f\v")
    if controls > MOST_SHARE_OF_CONTROLS * len(text) + 1 or "\ufffd" * 4 in text:
        raise TableUnreadable(
            name, f"it has {controls} control characters, so it is binary and no table; save the table as CSV or XLSX"
        )


SEPARATORS = {
    "\t": "tabs", ";": "semicolons", ",": "commas", "|": "bars", "  ": "two and more blanks", " ": "blanks", "": "nothing",
}  # fmt: skip


def grid_of(text: str, name: str) -> Grid:
    """The cells of a text, split by the separator that splits most lines alike."""
    lines = text.splitlines()
    if not any(line.strip() for line in lines):
        raise TableUnreadable(name, "it is empty; the first row of a table must name its columns")
    if len(lines) > MOST_LINES or len([line for line in lines if line.strip(" \t,;|")]) > MOST_ROWS:
        raise TableUnreadable(name, f"it has more than the {MOST_ROWS} rows that are read")
    separator = separator_of(lines)
    rows = []
    count = 0
    for number, line in _records(lines, separator, name):
        cells = tuple(
            Cell(number, column, unguarded(text.strip()).strip()) for column, text in enumerate(line) if text.strip() not in ("", "#")
            or (text.strip() and separator != "|")
        )  # fmt: skip
        count += len(cells)
        long = next((cell for cell in cells if len(cell.text) > MOST_CHARACTERS), None)
        if long is not None:
            raise TableUnreadable(
                name,
                f"row {number} has a cell of {len(long.text)} characters, which no table of a lens has; {MOST_CHARACTERS} are read",
            )
        if count > MOST_CELLS:
            raise TableUnreadable(name, f"it has more than the {MOST_CELLS} cells that are read")
        if cells:
            rows.append(cells)
    return Grid("", tuple(rows), separator)


def separator_of(lines: list[str]) -> str:
    """The separator that most lines have alike: tab, semicolon, bar, comma, or wide blanks, then single ones."""
    filled = [line for line in lines if line.strip()][:400]
    best, most = ",", 0.0
    for separator in ("\t", ";", "|", ","):
        counts = [line.count(separator) for line in filled if separator in line]
        if not counts:
            continue
        alike = max(sum(1 for count in counts if abs(count - level) <= 1) for level in set(counts))
        weight = (
            alike * min(6.0, sum(counts) / len(counts)) * (1.0 if separator != "," else 0.6 if _decimal_commas(filled) else 1.0)
        )
        if weight > most:
            best, most = separator, weight
    wide = sum(1 for line in filled if len(re.split(r"\s{2,}", line.strip())) >= 3)
    return "  " if wide >= 2 and wide * 2.5 > most else best if most > 0 else _blank(filled)


def _blank(filled: list[str]) -> str:
    return " " if sum(1 for line in filled if len(line.split()) >= 4) >= 2 else ""


def _decimal_commas(lines: Iterable[str]) -> bool:
    return any(re.search(r"[;\t|]|\s{2,}", line.strip()) and re.search(r"[0-9],[0-9]", line) for line in lines)


def _records(lines: list[str], separator: str, name: str) -> Iterable[tuple[int, list[str]]]:
    """Number and cells of every line; of a quoted cell over several lines the first counts."""
    if separator in ("\t", ";", ","):
        reader = csv.reader(lines, delimiter=separator)
        number = 1
        try:
            for cells in reader:
                yield number, cells
                number = reader.line_num + 1
        except csv.Error as fault:
            raise TableUnreadable(name, f"line {reader.line_num} is no line of a table: {fault}") from fault
        return
    if separator in ("  ", " "):
        yield from split_by_blanks(lines, name, wide=separator == "  ")
        return
    for number, line in enumerate(lines, start=1):
        inner = line.strip().removeprefix("|").removesuffix("|")
        yield number, [line] if separator == "" else [] if RULE.fullmatch(line) else inner.split("|")


def _book_of_json(text: str, name: str, assumed: tuple[tuple[str, str], ...]) -> Book:
    try:
        document = json.loads(text, parse_constant=_no_such_number)
    except (ValueError, RecursionError) as fault:
        raise TableUnreadable(name, f"it is not JSON: {fault}") from fault
    if isinstance(document, dict) and not is_list_of_rows(document):
        return Book(document=document, recognised=("JSON",), assumed=assumed)
    key = _key_of_rows(document)
    rows = document if key is None else document[key]
    beside = {} if key is None else {word: value for word, value in document.items() if word != key}
    if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
        raise TableUnreadable(name, "it must hold one JSON object: a prescription, or a quote request; or a list of rows")
    return Book(grids=(_grid_of_rows(rows, beside, name),), recognised=("JSON, a list of rows",), assumed=assumed)


def is_list_of_rows(document: Any) -> bool:
    """Whether a JSON document is a table: a list, or an object that holds one as its surfaces or rows."""
    return isinstance(document, list) or _key_of_rows(document) is not None


def _key_of_rows(document: Any) -> str | None:
    keys = ("surfaces", "rows", "lenses", "table")
    return next((key for key in keys if isinstance(document.get(key), list)), None) if isinstance(document, dict) else None


def _grid_of_rows(rows: list[dict[str, Any]], beside: dict[str, Any], name: str) -> Grid:
    """A list of objects as a table: what stands beside it first, then the heads, then a row an object."""
    heads = list(dict.fromkeys(key for row in rows for key in row))
    lines: list[list[Any]] = [[f"{key}: {_scalar(value)}"] for key, value in beside.items()]
    lines += [heads, *([row.get(head) for head in heads] for row in rows)]
    if len(lines) > MOST_ROWS or sum(len(line) for line in lines) > MOST_CELLS:
        raise TableUnreadable(name, f"it has more than the {MOST_ROWS} rows that are read")
    return Grid(
        "",
        tuple(
            tuple(
                Cell(number, column, _scalar(value), typed=isinstance(value, (int, float)) and not isinstance(value, bool))
                for column, value in enumerate(line)
                if _scalar(value).strip()
            )
            for number, line in enumerate(lines, start=1)
        ),
    )


def _scalar(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return value.strip()
    return repr(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else json.dumps(value)


def _no_such_number(text: str) -> NoReturn:
    raise ValueError(f"{text} is not a number in JSON")
