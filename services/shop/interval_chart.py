"""A chart of figures with their intervals, one a row: a dot, a whisker to either side, and an axis with its unit."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape

NAME_PX, PLOT_PX, COUNT_PX, ROW_PX, TOP_PX, FOOT_PX = 200, 460, 110, 24, 56, 62
WIDTH_PX = NAME_PX + PLOT_PX + COUNT_PX
INK, FAINT, RULE = "#1c2430", "#5b6570", "#c9cfd6"
LONGEST_NAME = 28
FONT = 'font-family="sans-serif" font-size="11"'


@dataclass(frozen=True)
class Interval:
    """A row: what it is of, the figure and its interval (None where it is not known), and what stands beside it."""

    name: str
    figure: float | None
    low: float | None
    high: float | None
    beside: str


@dataclass(frozen=True)
class Axis:
    """What lies along the chart: its words with the unit, its marks with what is written at each, and the figure that all are held against.

    Marks rise, the first and the last are the ends. With `by_ratio` equal lengths are equal ratios.
    """

    words: str
    marks: tuple[tuple[float, str], ...]
    reference: float | None = None
    by_ratio: bool = False

    def x_px(self, figure: float) -> float:
        """Where a figure lies; one beyond an end lies at it."""
        low, high = self.marks[0][0], self.marks[-1][0]
        held = min(max(figure, low), high)
        share = math.log(held / low) / math.log(high / low) if self.by_ratio else (held - low) / (high - low)
        return NAME_PX + PLOT_PX * share

    def is_beyond(self, figure: float) -> bool:
        """Whether a figure has no place on it."""
        return not self.marks[0][0] <= figure <= self.marks[-1][0]


def interval_chart(rows: Sequence[Interval], axis: Axis, *, title: str, description: str, beside: str) -> str:
    """An SVG drawing in black and white: a filled dot and a solid whisker, an open dot where the figure lies beyond the axis."""
    height = TOP_PX + max(len(rows), 1) * ROW_PX + FOOT_PX
    foot = TOP_PX + max(len(rows), 1) * ROW_PX
    parts = [
        *opening(WIDTH_PX, height, title=title, description=description),
        f'<text x="{WIDTH_PX - 8}" y="{TOP_PX - 10}" text-anchor="end" font-size="10" fill="{FAINT}">{escape(beside)}</text>',
        *_axis(axis, foot),
    ]
    for place, row in enumerate(rows):
        parts += _row(row, axis, TOP_PX + place * ROW_PX + ROW_PX / 2)
    if not rows:
        parts.append(f'<text x="{NAME_PX + 8}" y="{TOP_PX + 16}" fill="{FAINT}">nothing to show yet</text>')
    return "".join(parts) + "</svg>"


def opening(width: float, height: float, *, title: str, description: str) -> Iterator[str]:
    """How every drawing begins: its size, what it is for whoever does not see it, white ground, and its title."""
    yield (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" width="{width:g}" height="{height:g}" role="img" '
        f'aria-labelledby="title desc" {FONT} fill="{INK}">'
    )
    yield f'<title id="title">{escape(title)}</title><desc id="desc">{escape(description)}</desc>'
    yield f'<rect width="{width:g}" height="{height:g}" fill="#fff"/>'
    yield f'<text x="8" y="20" font-size="13" font-weight="bold">{escape(title)}</text>'


def _axis(axis: Axis, foot: float) -> Iterator[str]:
    for figure, words in axis.marks:
        x = axis.x_px(figure)
        yield f'<path d="M{x:.1f} {TOP_PX}V{foot + 4}" stroke="{RULE}"/>'
        yield f'<text x="{x:.1f}" y="{foot + 17}" text-anchor="middle" font-size="10">{escape(words)}</text>'
    if axis.reference is not None:
        yield f'<path d="M{axis.x_px(axis.reference):.1f} {TOP_PX}V{foot + 4}" stroke="{INK}" stroke-width="1.5" stroke-dasharray="5 3"/>'
    yield f'<path d="M{NAME_PX} {foot}H{NAME_PX + PLOT_PX}" stroke="{INK}"/>'
    yield f'<text x="{NAME_PX + PLOT_PX / 2:g}" y="{foot + 38}" text-anchor="middle">{escape(axis.words)}</text>'


def _row(row: Interval, axis: Axis, y: float) -> Iterator[str]:
    name = row.name if len(row.name) <= LONGEST_NAME else row.name[: LONGEST_NAME - 1] + "…"
    yield f'<text x="{NAME_PX - 10}" y="{y + 4:g}" text-anchor="end">{escape(name)}</text>'
    yield f'<text x="{WIDTH_PX - 8}" y="{y + 4:g}" text-anchor="end" font-size="10" fill="{FAINT}">{escape(row.beside)}</text>'
    if row.low is not None and row.high is not None:
        left, right = axis.x_px(row.low), axis.x_px(row.high)
        yield f'<path d="M{left:.1f} {y:g}H{right:.1f}" stroke="{INK}" stroke-width="1.5"/>'
        ends = [x for x, figure in ((left, row.low), (right, row.high)) if not axis.is_beyond(figure)]
        yield from (f'<path d="M{x:.1f} {y - 5:g}V{y + 5:g}" stroke="{INK}" stroke-width="1.5"/>' for x in ends)
    if row.figure is not None:
        filled = "#fff" if axis.is_beyond(row.figure) else INK
        yield f'<circle cx="{axis.x_px(row.figure):.1f}" cy="{y:g}" r="4" fill="{filled}" stroke="{INK}" stroke-width="1.5"/>'
