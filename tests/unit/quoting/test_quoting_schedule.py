"""When it comes, as a picture on the customer's sheet: days as lengths, and nothing of the shop's own business."""

from __future__ import annotations

import re
from typing import Any
from xml.etree import ElementTree  # nosec B405  our own text

import pytest

from services.quoting.sheet.language import language
from services.quoting.sheet.parts import Paragraph
from services.quoting.sheet.schedule import FIRST_DAY, LAST_DAY, schedule, schedule_svg, things_of
from shared_schemas.lead_times import Deciding
from shared_schemas.quote import QuoteBody
from shared_schemas.rates import Rates
from tests.chain import demo, quote_of

SVG = "{http://www.w3.org/2000/svg}"
EN, DE = language("en"), language("de")


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


def test_bars_are_as_long_as_the_days_of_their_quantities(body: QuoteBody) -> None:
    root = ElementTree.fromstring(schedule_svg(body.breaks, EN))
    bars = {
        kind: [float(bar.get("width", "")) for bar in root.iter(f"{SVG}rect") if bar.get("class") == kind]
        for kind in ("most", "half")
    }
    per_day = (LAST_DAY - FIRST_DAY) / max(one.lead_time.p90_days for one in body.breaks)
    assert bars["most"] == pytest.approx([one.lead_time.p90_days * per_day for one in body.breaks], abs=0.01)
    assert bars["half"] == pytest.approx([one.lead_time.p50_days * per_day for one in body.breaks], abs=0.01)
    assert max(bars["most"]) == LAST_DAY - FIRST_DAY


def test_each_bar_is_told_with_its_quantity_its_days_and_its_date(body: QuoteBody) -> None:
    shown = [one.text for one in ElementTree.fromstring(schedule_svg(body.breaks, DE)).iter(f"{SVG}text")]
    for place, one in enumerate(body.breaks):
        day = one.lead_time.ship_date
        assert shown[2 * place : 2 * place + 2] == [str(one.quantity), f"{one.lead_time.p90_days} Tage, {day:%d.%m.%Y}"]


def test_weeks_are_marked_along_a_bar_and_by_fours_where_they_are_narrow(body: QuoteBody) -> None:
    def weeks(days: int) -> int:
        lead_time = body.breaks[0].lead_time.model_copy(update={"p90_days": days, "p50_days": 5})
        svg = schedule_svg([body.breaks[0].model_copy(update={"lead_time": lead_time})], EN)
        return svg.count('class="week"') + svg.count('class="later"')

    assert [weeks(days) for days in (6, 20, 700)] == [0, 2, 24]


def test_what_takes_most_time_is_said_in_the_customers_words(body: QuoteBody) -> None:
    def last(said: Any) -> str:
        section = schedule(with_deciding(body, GLASS, POLISHING), said)
        assert section is not None
        block = section.blocks[-1]
        assert isinstance(block, Paragraph)
        return block.text

    assert last(EN) == "What takes most of the time, for 25: glass N-SF5 for L5 (20 days)."
    assert last(DE) == "Die meiste Zeit brauchen bei 25 Stück: Glas N-SF5 für L5 (20 Tage)."


def test_what_is_made_again_is_one_thing_of_spare_time() -> None:
    assert things_of((AGAIN, ALSO_AGAIN), EN) == (("spare time", 2.5),)
    assert [thing.what for thing in things_of((BARREL, POLISHING), EN)] == ["polishing of L2, back", "barrel, aluminium"]


def test_no_work_centre_and_no_loss_stands_in_the_section(body: QuoteBody, rates: Rates) -> None:
    section = schedule(with_deciding(body, POLISHING, AGAIN), EN)
    assert not [row.name for row in rates.work_centres if row.name in str(section)]
    assert not re.search("again|lost|loss", str(section))
