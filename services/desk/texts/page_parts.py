"""What pages on a terminal are made of: a console, tables, sections, lists of points."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import IO

from rich import box
from rich.console import Console, RenderableType
from rich.table import Table
from rich.text import Text

PLAIN_WIDTH = 128


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


def section(title: str, content: RenderableType) -> list[RenderableType]:
    """A title, and what stands under it."""
    return [Text(f"\n{title}", style="bold cyan"), content]


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
