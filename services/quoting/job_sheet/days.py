"""When each part is worked on: a bar from its first day to its last, and the day by which nine of ten such orders have it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from services.quoting.job_sheet.gallery import JobSection
from services.quoting.job_sheet.given import Given
from services.quoting.promise.network import quantile
from services.quoting.sheet.language import Language
from services.quoting.sheet.parts import Paragraph, Picture, Table
from services.quoting.sheet.svg import FONT, number, written

WIDTH, FIRST_DAY, ROW, BAR_HEIGHT, HEAD = 660.0, 110.0, 18.0, 9.0, 20.0
LONGEST_NAME = 16
WEEK = 7
MOST_MARKS = 12
STYLE = (
    f".days text{{font-family:{FONT};font-size:11px;fill:#1c1c1c}}.days .right{{text-anchor:end}}.days .mid{{text-anchor:middle}}"
    ".days .work{fill:#55636b;stroke:#1c1c1c;stroke-width:.7}.days .late{fill:#fff;stroke:#1c1c1c;stroke-width:.7}"
    ".days .week{stroke:#aab4b9;stroke-width:.6}"
)


@dataclass(frozen=True)
class PartDays:
    """A part in time: the day its first operation may begin, the day its last is expected to be done, and the day by which nine of ten have it."""

    part: str
    begins: date
    ends: date
    late: date


def days_of(given: Given) -> tuple[PartDays, ...]:
    """Every part in the order of the routes."""
    schedule = given.evaluation.schedule
    worked = schedule.operation_days()
    calendar = schedule.shop.calendar
    found = []
    for route in given.evaluation.made.routes:
        own = worked[route.part]
        late = calendar.day_after_hours(schedule.begin, quantile(np.sort(schedule.network.parts[route.part].done), 0.9))
        ends = max(max(pair) for pair in own)
        found.append(PartDays(given.lot_of(route.part), own[0][0], ends, max(late, ends)))
    return tuple(found)


def days(given: Given, said: Language) -> JobSection:
    """The bars, and the same days as a table."""
    parts = days_of(given)
    begin = given.evaluation.schedule.begin
    lead_time = given.price_break.lead_time
    words = f"Days of each part from the order on {said.short_day(begin)}: expected, and late in one of ten orders."
    return JobSection(
        "Days",
        (
            Picture(days_svg(parts, begin, said, words), words),
            Paragraph(f"Full: from the first operation to the last as expected. Open: until nine of ten such orders have the part. Lines stand {said.days(_step(parts, begin))} apart, the first on the day of the order.", small=True),
            Table(
                ("Part", ">Begins", ">Done, expected", ">Done, 9 in 10"),
                tuple((one.part, said.short_day(one.begins), said.short_day(one.ends), said.short_day(one.late)) for one in parts),
            ),
            Paragraph(
                f"The quantity ships within {said.days(lead_time.p50_days)} in half of such orders and within {said.days(lead_time.p90_days)} in nine of ten: "
                f"by {said.day(lead_time.ship_date)} if ordered on {said.day(given.body.quoted_on)}."
            ),
        ),
    )  # fmt: skip


def _whole(parts: Sequence[PartDays], begin: date) -> int:
    return max((max(one.late for one in parts) - begin).days + 1, WEEK)


def _step(parts: Sequence[PartDays], begin: date) -> int:
    """Days between two marks: one week, or as many as leave room for what stands at them."""
    return WEEK * max(1, -(-_whole(parts, begin) // (WEEK * MOST_MARKS)))


def days_svg(parts: Sequence[PartDays], begin: date, said: Language, words: str) -> str:
    """A row for each part, days along."""
    whole = _whole(parts, begin)
    per_day = (WIDTH - FIRST_DAY - 12) / whole
    height = HEAD + ROW * len(parts) + 4
    return "\n".join((
        f'<svg xmlns="http://www.w3.org/2000/svg" class="days" viewBox="0 0 {number(WIDTH)} {number(height)}" width="{number(WIDTH)}" height="{number(height)}" role="img">',
        f"<title>Days of each part</title><desc>{written(words)}</desc>",
        f"<style>{STYLE}</style>",
        *_marks(begin, whole, _step(parts, begin), per_day, height, said),
        *(line for place, one in enumerate(parts) for line in _row(one, HEAD + ROW * place, begin, per_day)),
        "</svg>\n",
    ))  # fmt: skip


def _marks(begin: date, whole: int, step: int, per_day: float, height: float, said: Language) -> Iterator[str]:
    for day in range(0, whole, step):
        x = number(FIRST_DAY + day * per_day)
        yield f'<line class="week" x1="{x}" y1="{number(HEAD - 4)}" x2="{x}" y2="{number(height)}"/>'
        if (whole - day) * per_day > 24:
            yield f'<text class="mid" x="{x}" y="{number(HEAD - 8)}">{written(_short(begin + timedelta(days=day), said))}</text>'


def _short(day: date, said: Language) -> str:
    """A day without its year, as the readers of the paper write it."""
    return f"{day:%b} {day.day}" if said.locale.territory == "US" else f"{day.day} {day:%b}"


def _row(one: PartDays, top: float, begin: date, per_day: float) -> Iterator[str]:
    y = number(top + (ROW - BAR_HEIGHT) / 2)
    name = one.part if len(one.part) <= LONGEST_NAME else f"{one.part[: LONGEST_NAME - 1]}…"
    yield f'<text class="right" x="{number(FIRST_DAY - 8)}" y="{number(top + ROW / 2 + 4)}">{written(name)}</text>'
    for kind, start, end in (("late", one.begins, one.late), ("work", one.begins, one.ends)):
        x, wide = FIRST_DAY + (start - begin).days * per_day, ((end - start).days + 1) * per_day
        yield f'<rect class="{kind}" x="{number(x)}" y="{y}" width="{number(max(wide, 1.0))}" height="{number(BAR_HEIGHT)}"/>'
