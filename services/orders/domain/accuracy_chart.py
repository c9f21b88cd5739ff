"""Charts of how true quotes came: actual over quoted by group, and every job as a point."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Literal

from services.orders.domain.accuracy import Pair
from services.shop.interval_chart import FAINT, INK, RULE, Axis, Interval, interval_chart, opening
from shared_schemas.accuracy import AccuracyGroup, GroupedBy, Measure, MeasuredAccuracy

Chart = Literal["quoted_against_actual"] | GroupedBy
MOST_ROWS = 25
MOST_POINTS = 1000
RATIO_MARKS = ((0.5, "0.5"), (0.67, "0.67"), (0.8, "0.8"), (1.0, "1"), (1.25, "1.25"), (1.5, "1.5"), (2.0, "2"))
UNITS: dict[Measure, str] = {"hours": "h", "cost": "in the currency of each order", "yield": "share of good pieces", "days": "days"}
WORDS: dict[GroupedBy, str] = {"month": "month", "customer": "customer", "operation": "operation", "work_centre": "work centre"}
LEFT_PX, SIDE_PX, TOP_PX, RIGHT_PX, FOOT_PX = 90, 420, 46, 30, 60


def ratio_chart(kind: GroupedBy, measure: Measure, groups: Sequence[AccuracyGroup]) -> str:
    """Actual over quoted of each group: the median, and the quartiles to either side."""
    chosen = groups[-MOST_ROWS:] if kind == "month" else groups[:MOST_ROWS]
    title = f"Actual over quoted {measure}, by {WORDS[kind]}"
    axis = Axis(f"actual over quoted {measure} (ratio; 1 is as quoted)", RATIO_MARKS, reference=1.0, by_ratio=True)
    return interval_chart(
        [_interval(one, measure) for one in chosen], axis, title=title, beside="jobs",
        description=f"For each {WORDS[kind]} the median ratio of actual to quoted {measure} as a dot, and its quartiles as a whisker. "
        "An open dot lies beyond the axis; without a dot there are too few jobs.",
    )  # fmt: skip


def _interval(group: AccuracyGroup, measure: Measure) -> Interval:
    one: MeasuredAccuracy = next(found for found in group.measures if found.measure == measure)
    few = " (few)" if one.median_ratio is None else ""
    name = group.name.replace("_", " ") or "(no name)"
    return Interval(name, one.median_ratio, one.ratio_p25, one.ratio_p75, f"{one.jobs:,}{few}")


def job_chart(measure: Measure, pairs: Sequence[Pair]) -> str:
    """Each job as a ring: quoted to the right, actual upwards, both by ratio. On the line a job came as quoted; between the dashed ones within a quarter."""
    points = pairs[:MOST_POINTS]
    low, high = _decades([figure for one in points for figure in (one.quoted, one.actual)])
    title = f"Actual against quoted {measure}, each ring a job"
    parts = [
        *opening(
            LEFT_PX + SIDE_PX + RIGHT_PX, TOP_PX + SIDE_PX + FOOT_PX, title=title,
            description=f"{len(points)} jobs, the newest: quoted {measure} to the right, actual {measure} upwards, equal lengths are equal ratios. "
            "The solid line is where a job came as quoted, the dashed lines are a quarter more and a fifth less.",
        ),
        '<defs><clipPath id="plot">'
        f'<rect x="{LEFT_PX}" y="{TOP_PX}" width="{SIDE_PX}" height="{SIDE_PX}"/></clipPath></defs>',
        *_axes(measure, low, high),
        *_lines(low, high),
    ]  # fmt: skip
    parts += [
        f'<circle cx="{_x(one.quoted, low, high):.1f}" cy="{_y(one.actual, low, high):.1f}" r="3" fill="none" stroke="{INK}"/>'
        for one in points
    ]
    return "".join(parts) + "</svg>"


def _decades(figures: Sequence[float]) -> tuple[float, float]:
    """The ends of both axes: of 1, 2 and 5 times a power of ten those next below and above all figures."""
    if not figures:
        return 1.0, 100.0
    steps = [step * 10.0**power for power in range(-6, 13) for step in (1, 2, 5)]
    low = max((one for one in steps if one <= min(figures)), default=steps[0])
    high = min((one for one in steps if one >= max(figures) and one > low), default=steps[-1])
    return low, high


def _along(figure: float, low: float, high: float) -> float:
    return SIDE_PX * math.log(figure / low) / math.log(high / low)


def _x(figure: float, low: float, high: float) -> float:
    return LEFT_PX + _along(figure, low, high)


def _y(figure: float, low: float, high: float) -> float:
    return TOP_PX + SIDE_PX - _along(figure, low, high)


def _axes(measure: Measure, low: float, high: float) -> Iterator[str]:
    foot = TOP_PX + SIDE_PX
    marks = [step * 10.0**power for power in range(-6, 13) for step in ((1, 2, 5) if high / low <= 1000 else (1,))]
    for mark in (one for one in marks if low <= one * 1.000001 and one <= high * 1.000001):
        x, y = _x(mark, low, high), _y(mark, low, high)
        yield f'<path d="M{x:.1f} {TOP_PX}V{foot + 4}M{LEFT_PX - 4} {y:.1f}H{LEFT_PX + SIDE_PX}" stroke="{RULE}"/>'
        yield f'<text x="{x:.1f}" y="{foot + 17}" text-anchor="middle" font-size="10">{mark:,g}</text>'
        yield f'<text x="{LEFT_PX - 8}" y="{y + 4:.1f}" text-anchor="end" font-size="10">{mark:,g}</text>'
    yield f'<path d="M{LEFT_PX} {TOP_PX}V{foot}H{LEFT_PX + SIDE_PX}" stroke="{INK}" fill="none"/>'
    words = f"{measure} [{UNITS[measure]}]"
    yield f'<text x="{LEFT_PX + SIDE_PX / 2:g}" y="{foot + 40}" text-anchor="middle">quoted {words}</text>'
    middle = TOP_PX + SIDE_PX / 2
    yield f'<text transform="translate(22 {middle:g}) rotate(-90)" text-anchor="middle">actual {words}</text>'


def _lines(low: float, high: float) -> Iterator[str]:
    for ratio, look in (
        (0.8, f'stroke="{FAINT}" stroke-dasharray="5 3"'),
        (1.0, f'stroke="{INK}"'),
        (1.25, f'stroke="{FAINT}" stroke-dasharray="5 3"'),
    ):
        left, right = _y(low * ratio, low, high), _y(high * ratio, low, high)
        yield f'<path d="M{LEFT_PX} {left:.1f}L{LEFT_PX + SIDE_PX} {right:.1f}" {look} clip-path="url(#plot)"/>'
