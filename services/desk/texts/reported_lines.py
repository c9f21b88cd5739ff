"""A report of operations as it lies in a file: its entries with the lines they stand on, so that what is refused is named by its line."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import typer

from services.desk.errors import FileUnreadable
from shared_schemas.problem import ProblemDetail

CSV, JSON = "text/csv; charset=utf-8", "application/json"
ENTRY = re.compile(r"/entries/(\d+)(?:/(.*))?")


@dataclass(frozen=True)
class Entry:
    """One entry: its line in the file (of JSON its place, from 1), and what stands there."""

    line: int
    content: Any


@dataclass(frozen=True)
class Report:
    """All entries of a file; `heads` are the columns of CSV, None for JSON."""

    name: str
    heads: tuple[str, ...] | None
    entries: tuple[Entry, ...]

    @property
    def media_type(self) -> str:
        """What it is sent as."""
        return JSON if self.heads is None else CSV

    @property
    def unit(self) -> str:
        """What its entries are counted in."""
        return "entry" if self.heads is None else "line"

    @property
    def units(self) -> str:
        """The same of several."""
        return "entries" if self.heads is None else "lines"

    def body(self) -> bytes:
        """The report as it is sent: CSV with commas, whatever stood between the cells."""
        if self.heads is None:
            return json.dumps({"entries": [one.content for one in self.entries]}, ensure_ascii=False).encode()
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(self.heads)
        writer.writerows(one.content for one in self.entries)
        return out.getvalue().encode()

    def without(self, places: Collection[int]) -> Report:
        """The report without some of its entries, by their places from 0."""
        return replace(self, entries=tuple(one for place, one in enumerate(self.entries) if place not in places))


def read_report(file: Path) -> Report:
    """The report of a file, or of standard input for `-`; raises `FileUnreadable`."""
    name = "standard input" if str(file) == "-" else str(file)
    try:
        raw = typer.get_binary_stream("stdin").read() if str(file) == "-" else file.read_bytes()
        text = raw.decode("utf-8-sig")
    except OSError as fault:
        raise FileUnreadable(name, fault.strerror or type(fault).__name__) from fault
    except UnicodeDecodeError as fault:
        raise FileUnreadable(name, f"it is not UTF-8 at byte {fault.start}") from fault
    report = _of_json(name, text) if text.lstrip()[:1] in ("{", "[") else _of_csv(name, text)
    if not report.entries:
        raise FileUnreadable(name, "there is no entry in it")
    return report


def _of_json(name: str, text: str) -> Report:
    try:
        document = json.loads(text)
    except (ValueError, RecursionError) as fault:
        raise FileUnreadable(name, f"it is not JSON: {fault}") from fault
    entries = document.get("entries") if isinstance(document, dict) else document
    if not isinstance(entries, list) or (isinstance(document, dict) and set(document) != {"entries"}):
        raise FileUnreadable(name, "it is no list of entries, and no object with that alone")
    return Report(name, None, tuple(Entry(place, content) for place, content in enumerate(entries, start=1)))


def _of_csv(name: str, text: str) -> Report:
    first = text.partition("\n")[0]
    delimiter = max(",;\t", key=first.count)
    try:
        rows = list(_rows(text, delimiter))
    except csv.Error as fault:
        raise FileUnreadable(name, f"it is not CSV: {fault}") from fault
    if not rows:
        raise FileUnreadable(name, "there is nothing in it")
    heads = tuple(head.strip() for head in rows[0].content)
    return Report(name, heads, tuple(rows[1:]))


def _rows(text: str, delimiter: str) -> Iterator[Entry]:
    """Every row that is not empty, with the line it begins on."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    begins = 1
    for cells in reader:
        if any(cell.strip() for cell in cells):
            yield Entry(begins, cells)
        begins = reader.line_num + 1


def refused_lines(errors: Iterable[ProblemDetail], report: Report) -> list[tuple[int, ProblemDetail]]:
    """What is wrong with entries, by their places in the report, each named by its line."""
    found = []
    for one in errors:
        at = ENTRY.fullmatch(one.pointer)
        if at is None or int(at[1]) >= len(report.entries):
            continue
        line, field = report.entries[int(at[1])].line, at[2]
        where = f"{report.unit} {line}" + (f" {field}" if field else "")
        found.append((int(at[1]), one.model_copy(update={"pointer": where, "line": line, "column": field})))
    return found
