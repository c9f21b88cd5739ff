"""Why a figure is what it is, in lines for a terminal: value, equation, what went in with its own reasons indented, rate row with source and day."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from decimal import Decimal

from shared_schemas.figure import Figure, PointedFigure

INDENT = "  "
NARROWEST = 20
"""However deep a reason lies, its words have so many columns."""


def explained_lines(figure: PointedFigure, *, of: str, depth: int, width: int) -> list[str]:
    """The lines of a figure down to `depth` levels of what went in, none wider than `width`; `of` says in words what it is of."""
    return [*_wrapped(" ".join(word for word in (figure.pointer, of) if word), 0, width), *_lines(figure, depth, 0, width)]


def _lines(figure: Figure, depth: int, level: int, width: int) -> Iterator[str]:
    yield from _wrapped(f"{figure.name} = {shown(figure)}", level, width)
    if figure.formula:
        yield from _wrapped(f"= {figure.formula}", level + 1, width)
    if figure.reason:
        yield from _wrapped(figure.reason, level + 1, width)
    if figure.rate_row:
        row = figure.rate_row
        yield from _wrapped(f"rate row {row.table}, {row.row}: {row.source}, {row.as_of}", level + 1, width)
    if figure.source:
        yield from _wrapped(f"source: {figure.source}", level + 1, width)
    if figure.at:
        yield from _wrapped(f"stands at {figure.at}", level + 1, width)
    if figure.inputs and depth <= 0:
        count = len(figure.inputs)
        yield from _wrapped(f"from {count} more {'figure' if count == 1 else 'figures'} (--depth)", level + 1, width)
        return
    for inner in figure.inputs:
        yield from _lines(inner, depth - 1, level + 1, width)


def shown(figure: Figure) -> str:
    """The value with its unit, to six places; words and amounts as they are."""
    value = figure.value
    said = (
        f"{value:,.6g}"
        if isinstance(value, float) and abs(value) < 1e6
        else f"{value:,}"
        if isinstance(value, (int, float, Decimal))
        else str(value)
    )
    return f"{said} {figure.unit}".rstrip()


def _wrapped(words: str, level: int, width: int) -> list[str]:
    before = INDENT * level
    if len(before) > width - NARROWEST:
        before = before[: max(0, width - NARROWEST)]
    return textwrap.wrap(words, width, initial_indent=before, subsequent_indent=before + INDENT, break_on_hyphens=False) or [before]
