"""What pages on a terminal are made of: a console, tables, sections, lists of points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from typing import IO

from rich import box
from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.measure import Measurement
from rich.table import Column, Table
from rich.text import Text

PLAIN_WIDTH = 128
WIDEST = 10_000
APART = 3
"""So far columns of a table stand from each other: their padding, and the place of a line."""


def console_for(out: IO[str]) -> Console:
    """A console that is plain where `out` is no terminal."""
    return Console(file=out, highlight=False, markup=False, emoji=False, width=None if out.isatty() else PLAIN_WIDTH)


def table_with(*heads: str) -> Table:
    """A table with these heads; a head that begins with > has its figures to the right."""
    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    for head in heads:
        right = head.startswith(">")
        table.add_column(Text(head.removeprefix(">")), justify="right" if right else "left", overflow="fold")
    return table


def cells(*values: str, style: str = "") -> list[Text]:
    """The cells of a row; nothing in them is markup."""
    return [Text(value, style=style) for value in values]


class WholeFigures:
    """A table whose figures are never broken: columns that find no room stand in a further table below, beside the first column again."""

    def __init__(self, table: Table) -> None:
        self.table = table

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        if Measurement.get(console, options.update(max_width=WIDEST), self.table).maximum <= options.max_width:
            yield self.table
            return
        first, *left = [_kept_whole(column) for column in self.table.columns]
        while left:
            taken: list[Column] = []
            room = options.max_width - _least_width(first)
            while left and (not taken or room >= _least_width(left[0]) + APART):
                room -= _least_width(left[0]) + APART
                taken.append(left.pop(0))
            yield self._of(first, *taken)

    def _of(self, *columns: Column) -> Table:
        table = table_with()
        table.columns = [replace(column, _index=place) for place, column in enumerate(columns)]
        table.rows = self.table.rows
        return table


def _kept_whole(column: Column) -> Column:
    """A column of figures with the width that they need, which is not taken from it; one of words gives way."""
    return replace(column, width=_least_width(column)) if column.justify == "right" else column


def _least_width(column: Column) -> int:
    """What a column needs: of figures the whole of the longest, of words the longest word, and the longest word of its head."""
    whole = column.justify == "right"
    longest = [len(text) if whole else max(map(len, text.split()), default=0) for text in map(str, column.cells)]
    return max([*longest, *map(len, str(column.header).split()), 1])


def section(title: str, content: RenderableType) -> list[RenderableType]:
    """A title, and what stands under it."""
    return [Text(f"\n{title}", style="bold cyan"), WholeFigures(content) if isinstance(content, Table) else content]


def listed(title: str, lines: Sequence[str]) -> list[RenderableType]:
    """A title with its points under it; nothing where there are none."""
    if not lines:
        return []
    table = Table.grid(padding=(0, 1, 0, 0))
    for line in lines:
        table.add_row(Text("·"), Text(line))
    return section(title, table)


def in_days(*counts: int | None) -> list[str]:
    """`12 days`, `-`: cells of days."""
    return ["-" if count is None else f"{count:,} day{'' if count == 1 else 's'}" for count in counts]


def money(amount: Decimal) -> str:
    """An amount with its thousands apart."""
    return f"{amount:,}"
