"""Charts of a quote as SVG: prices by quantity, and days by quantity. Each figure in them stands in a table beside it too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

from shared_schemas.quote import Break

WIDTH, LEFT, RIGHT, ROW, BAR = 560.0, 92.0, 96.0, 30.0, 12.0


@dataclass(frozen=True)
class Bar:
    """A row of a chart: its name, where the bar begins, bends and ends, and what is written behind it."""

    name: str
    ends: tuple[float, ...]
    said: str


def price_chart(breaks: Sequence[Break], currency: str) -> Markup:
    """Unit prices by quantity, from zero."""
    bars = [Bar(f"{one.quantity:,}", (float(one.unit_price),), f"{one.unit_price:,}") for one in breaks]
    return _chart("price-chart", f"Unit price by quantity, {currency}", bars)


def days_chart(breaks: Sequence[Break]) -> Markup:
    """Calendar days by quantity: half of such orders ship by the end of the dark part, nine of ten by the end of the light one."""
    bars = [
        Bar(
            f"{one.quantity:,}",
            (one.lead_time.p50_days, one.lead_time.p90_days),
            f"{one.lead_time.p50_days}–{one.lead_time.p90_days} days",
        )
        for one in breaks
    ]
    return _chart("days-chart", "Days from order to shipping: half of orders, nine of ten", bars)


def _chart(name: str, title: str, bars: Sequence[Bar]) -> Markup:
    most = max((bar.ends[-1] for bar in bars), default=0) or 1
    height = ROW * len(bars) + 8
    lines = [_bar(place, bar, (WIDTH - LEFT - RIGHT) / most) for place, bar in enumerate(bars)]
    frame = Markup('<svg class="chart" viewBox="0 0 {} {}" role="img" aria-labelledby="{}"><title id="{}">{}</title>{}</svg>')
    axis = Markup('<line class="hair" x1="{x}" y1="0" x2="{x}" y2="{y}"/>').format(x=LEFT, y=height)
    return frame.format(f"{WIDTH:g}", f"{height:g}", name, name, title, Markup("").join([axis, *lines]))


def _bar(place: int, bar: Bar, scale: float) -> Markup:
    top, begins = place * ROW + (ROW - BAR) / 2 + 2, 0.0
    parts = []
    for number, end in enumerate(bar.ends):
        parts.append(
            Markup('<rect class="bar bar-{}" x="{:.1f}" y="{:.1f}" width="{:.1f}" height="{}"/>').format(
                number + 1, LEFT + begins * scale, top, max(0.0, (end - begins) * scale), f"{BAR:g}"
            )
        )
        begins = end
    base = top + BAR - 1.5
    label = Markup('<text class="end" x="{}" y="{:.1f}">{}</text>').format(f"{LEFT - 8:g}", base, escape(bar.name))
    said = Markup('<text x="{:.1f}" y="{:.1f}">{}</text>').format(LEFT + bar.ends[-1] * scale + 8, base, escape(bar.said))
    return Markup("").join([label, *parts, said])
