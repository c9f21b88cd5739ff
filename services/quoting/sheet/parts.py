"""What the page is made of: tables, amounts, and days. The template makes markup of them."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from services.quoting.sheet import words


@dataclass(frozen=True)
class Table:
    """Cells as they are read; a head that begins with > has its figures to the right. Without rows it is left out."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    foot: tuple[str, ...] = ()

    @property
    def titles(self) -> tuple[str, ...]:
        """The heads without what they say of their columns."""
        return tuple(head.removeprefix(">") for head in self.heads)

    @property
    def are_figures(self) -> tuple[bool, ...]:
        """Of each column, whether it has figures."""
        return tuple(head.startswith(">") for head in self.heads)


def money(amount: Decimal) -> str:
    """An amount with its thousands apart."""
    return f"{amount:,}"


def days(count: int) -> str:
    """`1 day`, `12 days`."""
    return (words.ONE_DAY if count == 1 else words.SOME_DAYS).format(count=count)
