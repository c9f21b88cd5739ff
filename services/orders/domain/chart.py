"""A chart of the book: for each work centre a row of weeks, filled as far as the week is taken."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from html import escape
from itertools import groupby

from shared_schemas.load import CentreWeeks, WeekOfLoad

NAME_PX, WEEK_PX, ROW_PX, BAR_PX, TOP_PX, GAP_PX, FOOT_PX = 190, 44, 26, 18, 76, 6, 30
CELL_PX = WEEK_PX - GAP_PX
FULL = 0.95
INK, FAINT, GROUND, TAKEN, OVER = "#1c2430", "#5b6570", "#e9ecef", "#4d7a99", "#a8432f"


def chart_of(work_centres: Sequence[CentreWeeks], *, first_week: str) -> str:
    """An SVG drawing. A bar grows from the bottom of its week; above 95 % it is hatched as well as red, so that it reads in print."""
    weeks = max((len(one.weeks) for one in work_centres), default=0)
    width, height = NAME_PX + max(weeks * WEEK_PX, 7 * WEEK_PX) + 12, TOP_PX + len(work_centres) * ROW_PX + FOOT_PX
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" role="img" '
        f'font-family="sans-serif" font-size="11" fill="{INK}">',
        f"<title>Load of the work centres by week from {escape(first_week)}</title>",
        f'<defs><pattern id="full" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        f'<rect width="5" height="5" fill="{OVER}"/><line x1="0" y1="0" x2="0" y2="5" stroke="#fff" stroke-width="1.5"/></pattern></defs>',
        f'<rect width="{width}" height="{height}" fill="#fff"/>',
        f'<text x="8" y="18" font-size="13" font-weight="bold">Hours booked from {escape(first_week)} on, in per cent of each week</text>',
    ]
    if work_centres:
        parts += _weeks_axis([week.week for week in work_centres[0].weeks])
    for row, centre in enumerate(work_centres):
        y = TOP_PX + row * ROW_PX
        parts.append(f'<text x="{NAME_PX - 8}" y="{y + 13}" text-anchor="end">{escape(centre.work_centre)}</text>')
        for place, week in enumerate(centre.weeks):
            parts += _cell(week, NAME_PX + place * WEEK_PX, y)
    parts += _key(height - 10)
    return "".join(parts) + "</svg>"


def _weeks_axis(mondays: Sequence[date]) -> Iterator[str]:
    """The Monday of each week, and above them the months."""
    yield f'<text x="{NAME_PX - 8}" y="{TOP_PX - 10}" text-anchor="end" font-size="10" fill="{FAINT}">work centre / week from Monday</text>'
    places = list(enumerate(mondays))
    for _, of_month in groupby(places, key=lambda one: (one[1].year, one[1].month)):
        first, *_ = weeks = list(of_month)
        left, right = NAME_PX + first[0] * WEEK_PX, NAME_PX + (weeks[-1][0] + 1) * WEEK_PX - GAP_PX
        words = first[1].strftime("%b %Y" if len(weeks) > 1 else "%b")
        yield f'<path d="M{left} {TOP_PX - 24}H{right}" stroke="{FAINT}"/>'
        yield f'<text x="{left}" y="{TOP_PX - 29}" font-size="10">{words}</text>'
    for place, monday in places:
        x = NAME_PX + place * WEEK_PX + CELL_PX / 2
        yield f'<text x="{x:g}" y="{TOP_PX - 10}" text-anchor="middle" font-size="10">{monday.day}</text>'


def _cell(week: WeekOfLoad, x: float, y: float) -> Iterator[str]:
    """One week of one work centre: its bar, and the figure on it."""
    share, is_full = min(max(week.share, 0.0), 1.0), week.share > FULL
    filled = BAR_PX * share
    yield f'<rect x="{x}" y="{y}" width="{CELL_PX}" height="{BAR_PX}" fill="{GROUND}"/>'
    if filled > 0:
        colour = "url(#full)" if is_full else TAKEN
        yield f'<rect x="{x}" y="{y + BAR_PX - filled:.1f}" width="{CELL_PX}" height="{filled:.1f}" fill="{colour}"/>'
    on_the_bar = share > 0.7 and not is_full
    ink = "#fff" if on_the_bar else INK if week.booked_h else FAINT
    halo = ' stroke="#fff" stroke-width="2.5" paint-order="stroke"' if share > 0.25 and not on_the_bar else ""
    yield (
        f'<text x="{x + CELL_PX / 2:g}" y="{y + 13}" text-anchor="middle" font-size="9" fill="{ink}"{halo}>{_figure(week)}</text>'
    )


def _figure(week: WeekOfLoad) -> str:
    """What stands on a bar; a full hundred only where nothing is free."""
    if not week.capacity_h:
        return "closed" if not week.booked_h else "no hours"
    if 0 < week.share < 0.005:
        return "&lt; 1"
    return f"{100 * week.share:.0f}" if week.share >= 1 else f"{min(100 * week.share, 99):.0f}"


def _key(y: float) -> Iterator[str]:
    """What the colours mean."""
    for x, colour, words in (
        (8, TAKEN, "booked"),
        (90, "url(#full)", f"more than {100 * FULL:.0f} per cent booked"),
        (280, GROUND, "free, or closed"),
    ):
        yield f'<rect x="{x}" y="{y - 9}" width="14" height="10" fill="{colour}"/>'
        yield f'<text x="{x + 20}" y="{y}" font-size="10">{words}</text>'
