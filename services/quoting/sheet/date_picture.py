"""What decides the date, as a customer may see it: bars as long as the days that each thing takes, cut into weeks.

The text is the same bytes for the same quote. No script, no outside font, no colour that a grey printer loses. Where the work is
done and what may be lost is the shop's business: a step is called by what is done, and making again is spare time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from services.quoting.sheet import words
from services.quoting.sheet.svg import number, written
from shared_schemas.lead_times import Deciding
from shared_schemas.operation_kinds import operation_words
from shared_schemas.quote import QuoteBody, middle_quantity

WIDTH = 620.0
LONGEST_BAR = 540.0
"""The thing that takes most days; the rest of the width is for its days."""
ROW = 36.0
BAR_TOP = 18.0
BAR_HEIGHT = 10.0
MOST_SIGNS = 60
DAYS_OF_WEEK = 7
NARROWEST_WEEK = 7.0
"""Weeks narrower than this are not cut apart."""
WHOLE_DAYS_FROM = 10
STYLE = (
    ".deciding text{font-family:sans-serif;font-size:12px;fill:#1c1c1c}.deciding .right{text-anchor:end}.deciding .bar{fill:#55636b;"
    "stroke:#1c1c1c;stroke-width:.8}.deciding .week{stroke:#fff;stroke-width:1.6}.deciding .rule{stroke:#90a4ae;stroke-width:.6}"
)


class Bar(NamedTuple):
    """One thing that decides a date: what it is in a customer's words, its days, and the share of cases in which it decides, if that is told."""

    what: str
    days: float
    share: float | None


def date_svg(body: QuoteBody) -> str:
    """What decides the date of the middle quantity, as SVG; empty where nothing is known of it."""
    quantity = middle_quantity(price_break.quantity for price_break in body.breaks)
    lead_time = next(price_break.lead_time for price_break in body.breaks if price_break.quantity == quantity)
    bars = bars_of(lead_time.decided_by)
    if not bars:
        return ""
    per_day = LONGEST_BAR / max(bar.days for bar in bars)
    height = ROW * len(bars) + 2
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="deciding" viewBox="0 0 {number(WIDTH)} {number(height)}" width="{number(WIDTH)}"'
        f' height="{number(height)}" role="img">',
        f"<title>{written(words.DECIDES.format(quantity=quantity))}</title>",
        f"<style>{STYLE}</style>",
        *(line for place, bar in enumerate(bars) for line in _row(bar, place * ROW, per_day)),
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def bars_of(decided_by: Sequence[Deciding]) -> tuple[Bar, ...]:
    """A bar for each thing that decides, the longest first; all that is made again is one of them."""
    bars = [Bar(_what(one), one.days, one.share) for one in decided_by if one.kind != "making_again"]
    spare_days = sum(one.days for one in decided_by if one.kind == "making_again")
    if spare_days:
        bars.append(Bar(words.SPARE_TIME, spare_days, None))
    return tuple(sorted((bar for bar in bars if bar.days > 0), key=lambda bar: -bar.days))


def _what(one: Deciding) -> str:
    if one.kind == "delivery":
        return one.name if one.part == "lens" else words.DELIVERY_FOR.format(what=one.name, part=one.part)
    step = one.name if one.operation == "own_work" else operation_words(one.operation or one.name)
    part = words.WHOLE if one.part == "lens" else one.part
    face = words.OF_FACE.format(face=words.FACES[one.face]) if one.face else ""
    return words.STEP_OF.format(step=step, part=part, face=face)


def _row(bar: Bar, top: float, per_day: float) -> Iterator[str]:
    """What it is above its bar, the share of cases at the right, the days at the end of the bar."""
    length, foot = bar.days * per_day, top + BAR_TOP + BAR_HEIGHT
    what = bar.what if len(bar.what) <= MOST_SIGNS else bar.what[: MOST_SIGNS - 1] + "…"
    days = f"{bar.days:.0f}" if bar.days >= WHOLE_DAYS_FROM else f"{bar.days:.1f}"
    yield f'<text x="0" y="{number(top + 12)}">{written(what)}</text>'
    if bar.share is not None:
        yield f'<text class="right" x="{number(WIDTH)}" y="{number(top + 12)}">{written(words.DECIDES_IN.format(share=bar.share))}</text>'
    yield f'<line class="rule" x1="0" y1="{number(foot + 4)}" x2="{number(WIDTH)}" y2="{number(foot + 4)}"/>'
    yield (
        f'<rect class="bar" x="0.5" y="{number(top + BAR_TOP)}" width="{number(max(length, 1.0))}" height="{number(BAR_HEIGHT)}"/>'
    )
    if DAYS_OF_WEEK * per_day >= NARROWEST_WEEK:
        for week in range(1, int(bar.days / DAYS_OF_WEEK) + 1):
            x = number(0.5 + week * DAYS_OF_WEEK * per_day)
            yield f'<line class="week" x1="{x}" y1="{number(top + BAR_TOP + 0.8)}" x2="{x}" y2="{number(foot - 0.8)}"/>'
    yield f'<text x="{number(length + 6)}" y="{number(foot - 1)}">{written(words.BAR_DAYS.format(days=days))}</text>'
