"""When it comes, as a customer may see it: a bar for each quantity from the order to the day of shipping, and what takes most of that time.

The picture is the same bytes for the same quote. No script, no outside font, no colour that a grey printer loses. Where the work is
done and what may be lost is the shop's business: a step is called by what is done, and making again is spare time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from services.quoting.sheet.language import Language
from services.quoting.sheet.parts import Paragraph, Picture, Section, section
from services.quoting.sheet.prices import offered
from services.quoting.sheet.svg import FONT, number, written
from shared_schemas.lead_times import Deciding, LeadTime
from shared_schemas.quote import Break, QuoteBody, middle_quantity

WIDTH = 660.0
FIRST_DAY = 60.0
"""Where the day of the order lies; before it stand the quantities."""
LAST_DAY = 500.0
"""Where the latest day of shipping lies; behind its bar stand days and date."""
ROW = 21.0
BAR_HEIGHT = 10.0
DAYS_OF_WEEK = 7
NARROWEST_WEEK = 7.0
"""Weeks narrower than this are marked by fours."""
NAMED, WORTH_NAMING = 3, 0.1
"""So many of the things that decide the date are named, those of the most days; none that takes less than this share of them."""
STYLE = (
    f".schedule text{{font-family:{FONT};font-size:12px;fill:#1c1c1c}}.schedule .right{{text-anchor:end}}.schedule .half{{fill:#55636b;"
    "stroke:#1c1c1c;stroke-width:.8}.schedule .most{fill:#ffffff;stroke:#1c1c1c;stroke-width:.8}.schedule .week{stroke:#ffffff;stroke-width:1.4}.schedule .later{stroke:#90a4ae;stroke-width:.6}"
)


class Thing(NamedTuple):
    """One thing that decides a date: what it is in a customer's words, and its days."""

    what: str
    days: float


def schedule(body: QuoteBody, said: Language) -> Section | None:
    """Bars by quantity, and what takes most of the time of the middle one."""
    words, breaks = said.words, offered(body)
    if not breaks:
        return None
    quantity = middle_quantity(price_break.quantity for price_break in breaks)
    lead_time = next(price_break.lead_time for price_break in breaks if price_break.quantity == quantity)
    things = "; ".join(
        words.DECIDES_ONE.format(what=thing.what, days=said.days(round(thing.days)))
        for thing in things_of(lead_time.decided_by, said)[:NAMED]
        if thing.days >= WORTH_NAMING * lead_time.p50_days
    )
    return section(
        words.SCHEDULE,
        Picture(schedule_svg(breaks, said), words.SCHEDULE_OF),
        Paragraph(words.SCHEDULE_MEANT, small=True),
        Paragraph(words.DECIDES.format(quantity=said.count(quantity), things=things) if things else ""),
    )


def schedule_svg(breaks: Sequence[Break], said: Language) -> str:
    """A row for each quantity: its bar from the day of the order, filled to where half of such orders ship, open to where nine of ten do."""
    per_day = (LAST_DAY - FIRST_DAY) / max(price_break.lead_time.p90_days for price_break in breaks)
    height = ROW * len(breaks) + 2
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="schedule" viewBox="0 0 {number(WIDTH)} {number(height)}" width="{number(WIDTH)}"'
        f' height="{number(height)}" role="img">',
        f"<title>{written(said.words.SCHEDULE_OF)}</title>",
        f"<style>{STYLE}</style>",
        *(line for place, price_break in enumerate(breaks) for line in _row(price_break, place * ROW, per_day, said)),
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def things_of(decided_by: Sequence[Deciding], said: Language) -> tuple[Thing, ...]:
    """What decides a date, the longest first; all that is made again is one thing, spare time."""
    things = [Thing(_what(one, said), one.days) for one in decided_by if one.kind != "making_again"]
    spare_days = sum(one.days for one in decided_by if one.kind == "making_again")
    if spare_days:
        things.append(Thing(said.words.SPARE_TIME, spare_days))
    return tuple(sorted((thing for thing in things if thing.days > 0), key=lambda thing: -thing.days))


def _what(one: Deciding, said: Language) -> str:
    words = said.words
    if one.kind == "delivery":
        name = said.thing(one.name)
        return name if one.part == "lens" else str(words.DELIVERY_FOR.format(what=name, part=one.part))
    step = one.name if one.operation == "own_work" else words.OPERATIONS.get(one.operation or one.name, one.name)
    part = words.WHOLE if one.part == "lens" else one.part
    face = words.OF_FACE.format(face=words.FACES[one.face]) if one.face else ""
    return str(words.STEP_OF.format(step=step, part=part, face=face))


def _weeks(lead_time: LeadTime, y: float, per_day: float) -> Iterator[str]:
    """Marks across a bar, light on what is filled."""
    week = DAYS_OF_WEEK * (1 if DAYS_OF_WEEK * per_day >= NARROWEST_WEEK else 4)
    for day in range(week, lead_time.p90_days, week):
        x, kind = number(FIRST_DAY + day * per_day), "week" if day < lead_time.p50_days else "later"
        yield f'<line class="{kind}" x1="{x}" y1="{number(y + 0.8)}" x2="{x}" y2="{number(y + BAR_HEIGHT - 0.8)}"/>'


def _row(price_break: Break, top: float, per_day: float, said: Language) -> Iterator[str]:
    """The quantity before its bar, days and date behind it."""
    lead_time, y, foot = price_break.lead_time, top + (ROW - BAR_HEIGHT) / 2, number(top + ROW / 2 + 4)
    yield f'<text class="right" x="{number(FIRST_DAY - 8)}" y="{foot}">{written(said.count(price_break.quantity))}</text>'
    for kind, days in (("most", lead_time.p90_days), ("half", lead_time.p50_days)):
        width = number(max(days * per_day, 1.0))
        yield f'<rect class="{kind}" x="{number(FIRST_DAY)}" y="{number(y)}" width="{width}" height="{number(BAR_HEIGHT)}"/>'
    yield from _weeks(lead_time, y, per_day)
    when = said.words.SCHEDULE_DAYS.format(days=said.days(lead_time.p90_days), day=said.short_day(lead_time.ship_date))
    yield f'<text x="{number(FIRST_DAY + lead_time.p90_days * per_day + 8)}" y="{foot}">{written(when)}</text>'
