"""What decides the date, as a picture on the customer's sheet: days as lengths, and nothing of the shop's own business."""

from __future__ import annotations

import re
from typing import Any
from xml.etree import ElementTree

import pytest

from services.quoting.sheet.date_picture import LONGEST_BAR, bars_of, date_svg
from shared_schemas.lead_times import Deciding
from shared_schemas.quote import QuoteBody
from shared_schemas.rates import Rates
from tests.chain import demo, quote_of

SVG = "{http://www.w3.org/2000/svg}"


def decides(kind: str, name: str, part: str, days: float, **changes: Any) -> Deciding:
    return Deciding.model_validate({"kind": kind, "name": name, "part": part, "share": 0.5, "days": days, **changes})


POLISHING = decides("operation", "polish back", "L2", 5.0, work_centre="high-speed polishing", operation="polish", face="back")
GLASS = decides("delivery", "glass N-SF5", "L5", 20.0)
BARREL = decides("delivery", "barrel, aluminium", "lens", 4.0)
AGAIN = decides("making_again", "made again", "L1", 1.5)
ALSO_AGAIN = decides("making_again", "made again", "lens", 1.0)


@pytest.fixture(scope="module")
def body(rates: Rates) -> QuoteBody:
    return quote_of(demo(), rates)


def with_deciding(body: QuoteBody, *decided_by: Deciding) -> QuoteBody:
    breaks = tuple(
        one.model_copy(update={"lead_time": one.lead_time.model_copy(update={"decided_by": decided_by})}) for one in body.breaks
    )
    return body.model_copy(update={"breaks": breaks})


def lengths(svg: str) -> list[float]:
    return [float(bar.get("width") or 0) for bar in ElementTree.fromstring(svg).iter(f"{SVG}rect")]


def texts(svg: str) -> list[str]:
    return [one.text or "" for one in ElementTree.fromstring(svg).iter(f"{SVG}text")]


def test_bars_are_as_long_as_their_days_and_the_longest_comes_first(body: QuoteBody) -> None:
    assert lengths(date_svg(with_deciding(body, POLISHING, GLASS, BARREL))) == [LONGEST_BAR, LONGEST_BAR / 4, LONGEST_BAR / 5]


def test_each_thing_is_told_with_its_days_and_how_often_it_decides(body: QuoteBody) -> None:
    shown = texts(date_svg(with_deciding(body, GLASS, POLISHING)))
    assert shown == ["glass N-SF5 for L5", "50%", "20 days", "polishing of L2, back", "50%", "5.0 days"]


def test_what_is_made_again_is_one_bar_of_spare_time_without_its_chance() -> None:
    (bar,) = bars_of((AGAIN, ALSO_AGAIN))
    assert bar == ("spare time", 2.5, None)


def test_what_the_whole_lens_waits_for_is_named_without_a_part() -> None:
    (bar,) = bars_of((BARREL,))
    assert bar.what == "barrel, aluminium"


def test_no_work_centre_and_no_loss_stands_on_the_picture(body: QuoteBody, rates: Rates) -> None:
    svg = date_svg(body) + date_svg(with_deciding(body, POLISHING, AGAIN))
    assert not [row.name for row in rates.work_centres if row.name in svg]
    assert not re.search("again|lost|loss", svg)


def test_the_middle_quantity_is_shown(body: QuoteBody) -> None:
    assert "for 25</title>" in date_svg(body)
    assert len(texts(date_svg(body))) == 3 * len(body.breaks[1].lead_time.decided_by)


def test_names_are_no_markup(body: QuoteBody) -> None:
    svg = date_svg(with_deciding(body, decides("delivery", "<b>&\x07", "lens", 3.0)))
    assert texts(svg)[0] == "<b>&"


def test_weeks_are_cut_only_where_they_can_be_seen(body: QuoteBody) -> None:
    def weeks(days: float) -> int:
        return date_svg(with_deciding(body, decides("delivery", "glass", "L1", days))).count('class="week"')

    assert [weeks(days) for days in (6.0, 20.0, 700.0)] == [0, 2, 0]


def test_a_quote_that_does_not_know_what_decides_has_no_picture(body: QuoteBody) -> None:
    assert date_svg(with_deciding(body)) == ""
