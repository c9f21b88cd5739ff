"""What takes the days of an order, as bars: the five things that most often decide when it is ready."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from services.quoting.sheet import words
from shared_schemas.lead_times import Deciding

NAME_MM, BAR_MM, ROW_MM, THICK_MM, TAIL_MM = 62.0, 84.0, 6.4, 4.0, 30.0
ROUND_DAYS = (1, 2, 5, 10, 20, 25, 50, 100, 200, 500, 1000)


def days_picture(decided_by: Sequence[Deciding]) -> str:
    """A drawing in millimetres as SVG, nothing where nothing decides. Lengths are days; the share of orders stands at the end of a bar."""
    shown = [one for one in decided_by if one.days >= 0.05]
    if not shown:
        return ""
    longest = max(one.days for one in shown)
    scale = BAR_MM / longest
    height = len(shown) * ROW_MM + 8
    step = next((days for days in ROUND_DAYS if longest / days <= 5), ROUND_DAYS[-1])
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {NAME_MM + BAR_MM + TAIL_MM:g} {height:g}" width="{NAME_MM + BAR_MM + TAIL_MM:g}mm" '
        f'height="{height:g}mm" role="img" font-family="inherit" font-size="3.1" fill="#111">',
        f"<title>{escape(words.DAYS_PICTURE)}</title>",
    ]
    for days in range(0, int(longest) + 1, step):
        x = NAME_MM + days * scale
        parts.append(
            f'<line x1="{x:.2f}" y1="0" x2="{x:.2f}" y2="{height - 6:g}" stroke="#999" stroke-width=".15"/>'
            f'<text x="{x:.2f}" y="{height - 2:g}" text-anchor="middle" font-size="2.7">{days}</text>'
        )
    end = NAME_MM + BAR_MM + TAIL_MM
    parts.append(f'<text x="{end:g}" y="{height - 2:g}" text-anchor="end" font-size="2.7">{escape(words.DAYS_AXIS)}</text>')
    for place, one in enumerate(shown):
        y = place * ROW_MM + 1
        width = one.days * scale
        parts.append(
            f'<text x="{NAME_MM - 2:g}" y="{y + 3.1:.2f}" text-anchor="end">{escape(deciding_words(one))}</text>'
            f'<rect x="{NAME_MM:g}" y="{y:.2f}" width="{width:.2f}" height="{THICK_MM:g}" fill="#c9ccd1" stroke="#111" stroke-width=".25"/>'
            f'<text x="{NAME_MM + width + 1.5:.2f}" y="{y + 3.1:.2f}">{one.days:.1f} ({one.share:.0%})</text>'
        )
    parts.append("</svg>")
    return "".join(parts)


def deciding_words(one: Deciding) -> str:
    """`polish back of L2`, `glass N-SF5 for L5`, as a customer reads it; what is made again is time in hand."""
    if one.name == "made again":
        return words.TIME_IN_HAND
    if one.work_centre is None:
        return words.DELIVERY_FOR.format(what=one.name, part=one.part) if one.part != "lens" else one.name
    return words.OPERATION_OF.format(operation=one.name, part=one.part) if one.part != "lens" else one.name
