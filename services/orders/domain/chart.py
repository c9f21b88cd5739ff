"""A chart of the book: for each work centre a row of weeks, filled as far as the week is taken."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from shared_schemas.load import CentreWeeks

NAME_PX, WEEK_PX, ROW_PX, BAR_PX, TOP_PX, GAP_PX = 190, 44, 26, 18, 46, 6
FULL = 0.95
INK, GROUND, TAKEN, OVER = "#1c2430", "#eef0f2", "#4d7a99", "#a8432f"


def chart_of(work_centres: Sequence[CentreWeeks], *, first_week: str) -> str:
    """An SVG drawing. A bar grows from the bottom of its week; beyond 95 % it is hatched as well as red, so that it reads in print."""
    weeks = max((len(one.weeks) for one in work_centres), default=0)
    width, height = NAME_PX + weeks * WEEK_PX + 12, TOP_PX + len(work_centres) * ROW_PX + 26
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" role="img" '
        f'font-family="sans-serif" font-size="11" fill="{INK}">',
        f"<title>Load of the work centres by week from {escape(first_week)}</title>",
        f'<defs><pattern id="full" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        f'<rect width="5" height="5" fill="{OVER}"/><line x1="0" y1="0" x2="0" y2="5" stroke="#fff" stroke-width="1.5"/></pattern></defs>',
        '<text x="8" y="16" font-size="13">Hours taken of each week, in per cent; weeks begin on the Monday named</text>',
    ]
    if work_centres:
        for place, week in enumerate(work_centres[0].weeks):
            x = NAME_PX + place * WEEK_PX + WEEK_PX / 2
            parts.append(f'<text x="{x:g}" y="{TOP_PX - 8}" text-anchor="middle" font-size="9">{week.week:%d %b}</text>')
    for row, centre in enumerate(work_centres):
        y = TOP_PX + row * ROW_PX
        parts.append(f'<text x="{NAME_PX - 8}" y="{y + 13}" text-anchor="end">{escape(centre.work_centre)}</text>')
        for place, week in enumerate(centre.weeks):
            x = NAME_PX + place * WEEK_PX
            share = min(max(week.share, 0.0), 1.0)
            filled = BAR_PX * share
            colour = "url(#full)" if week.share > FULL else TAKEN
            parts.append(f'<rect x="{x}" y="{y}" width="{WEEK_PX - GAP_PX}" height="{BAR_PX}" fill="{GROUND}"/>')
            if filled > 0:
                parts.append(
                    f'<rect x="{x}" y="{y + BAR_PX - filled:.1f}" width="{WEEK_PX - GAP_PX}" height="{filled:.1f}" fill="{colour}"/>'
                )
            label = f"{100 * week.share:.0f}" if week.capacity_h else "closed"
            ink = "#fff" if share > 0.7 and week.share <= FULL else INK
            halo = ' stroke="#fff" stroke-width="2.5" paint-order="stroke"' if week.share > FULL else ""
            parts.append(
                f'<text x="{x + (WEEK_PX - GAP_PX) / 2:g}" y="{y + 13}" text-anchor="middle" font-size="9" fill="{ink}"{halo}>{label}</text>'
            )
    parts.append(f'<text x="8" y="{height - 8}" font-size="9">Hatched: more than {100 * FULL:.0f} per cent.</text></svg>')
    return "".join(parts)
