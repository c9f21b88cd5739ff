"""What the sheet is made of: tables, paragraphs, points and pictures. A template makes markup of them, on a page or on paper."""

from __future__ import annotations

import re
from dataclasses import asdict, dataclass
from typing import Any


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


@dataclass(frozen=True)
class Paragraph:
    """A paragraph; a small one explains what stands above it."""

    text: str
    small: bool = False


@dataclass(frozen=True)
class Points:
    """Things to be read one by one."""

    lines: tuple[str, ...]


@dataclass(frozen=True)
class Facts:
    """Names and what they stand for; one without a value is left out."""

    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Picture:
    """A picture as SVG, markup of our own in which names are escaped, and what it shows in words; its width is in units of its own."""

    svg: str
    words: str

    @property
    def width(self) -> float:
        """How wide it is drawn, by its view box."""
        return float(self.svg.partition('viewBox="0 0 ')[2].partition(" ")[0])


_UNIT = re.compile(r"(?<=\d) (?=[mn]m\b)")

Block = Table | Paragraph | Points | Facts | Picture


@dataclass(frozen=True)
class Section:
    """A part of the sheet under a heading of its own."""

    title: str
    blocks: tuple[Block, ...]


def section(title: str, *blocks: Block) -> Section | None:
    """A section of what there is to say; `None` where that is nothing but small print."""
    said = tuple(block for block in blocks if _says_something(block))
    return Section(title, said) if any(not (isinstance(block, Paragraph) and block.small) for block in said) else None


def _says_something(block: Block) -> bool:
    if isinstance(block, Table):
        return bool(block.rows)
    if isinstance(block, Points):
        return bool(block.lines)
    if isinstance(block, Facts):
        return any(value for _, value in block.pairs)
    return bool(block.svg if isinstance(block, Picture) else block.text)


def as_data(block: Block) -> dict[str, Any]:
    """A block as JSON takes it, with its kind."""
    more: dict[str, Any] = {"titles": block.titles, "are_figures": block.are_figures} if isinstance(block, Table) else {}
    if isinstance(block, Picture):
        more = {"width": block.width}
    elif isinstance(block, Paragraph):
        more = {"text": bound(block.text)}
    elif isinstance(block, Points):
        more = {"lines": tuple(map(bound, block.lines))}
    return {"kind": type(block).__name__.lower(), **asdict(block), **more}


def bound(text: str) -> str:
    """A text in which no line ends between a figure and its unit."""
    return _UNIT.sub("\u00a0", text)
