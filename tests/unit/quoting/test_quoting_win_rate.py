"""The win rate by hand: counts, bands of price over cost, intervals, and nothing that tells a price."""

from __future__ import annotations

import random
from datetime import date
from xml.etree import ElementTree

import pytest

from services.quoting.service.win_rate import band_of, win_rate_chart, win_rate_csv, win_rate_of
from services.quoting.store.decided import DecidedQuote, markup_of
from shared_schemas.win_rate import WinRate

NOVEMBER, DECEMBER = date(2026, 11, 20), date(2026, 12, 3)


def quotes() -> list[DecidedQuote]:
    """Of ten at 70 to 80 % over cost seven were won, of four at twice the cost and more one; one is of a quote whose figures are archived."""
    cheap = [DecidedQuote("Tarn & Fell", "accepted", None, NOVEMBER, 0.75)] * 7
    cheap += [DecidedQuote("Tarn & Fell", "declined", "price", NOVEMBER, 0.7)] * 2
    cheap += [DecidedQuote("Vinterholm", "expired", None, DECEMBER, 0.79)]
    dear = [
        DecidedQuote("Vinterholm", "accepted", None, DECEMBER, 2.5),
        DecidedQuote("Vinterholm", "declined", None, DECEMBER, 2.0),
    ]
    dear += [DecidedQuote("Vinterholm", "declined", "price", DECEMBER, 9.0)] * 2
    return [*cheap, *dear, DecidedQuote("Vinterholm", "declined", "date", DECEMBER, None)]


def told(some: list[DecidedQuote]) -> WinRate:
    return win_rate_of(some, open_quotes=3, since=None, until=None)


def test_quotes_are_counted_by_how_they_went_and_why() -> None:
    report = told(quotes())
    assert (report.whole.decided, report.whole.accepted, report.whole.declined, report.whole.expired) == (15, 8, 6, 1)
    assert report.whole.declined_because == {"price": 4, "date": 1, "not_said": 1}
    assert (report.open, report.without_markup, report.unread) == (3, 1, 0)
    assert report.whole.win_share == pytest.approx(8 / 15, abs=1e-4)
    assert [(one.name, one.decided) for one in report.by_customer] == [("Tarn & Fell", 9), ("Vinterholm", 6)]
    assert [(one.name, one.accepted) for one in report.by_month] == [("2026-11", 7), ("2026-12", 1)]


def test_bands_are_of_price_over_cost_and_each_has_its_interval() -> None:
    report = told(quotes())
    assert [(one.name, one.from_percent, one.to_percent, one.decided) for one in report.by_markup] == [
        ("70 to 80 %", 70, 80, 10),
        ("200 % and more", 200, None, 4),
    ]
    few = report.by_markup[1]
    assert few.win_share == 0.25
    # 1 of 4: (1 + 1.92073 -+ 1.95996 sqrt(3 / 4 + 0.960365)) / (4 + 3.84146)
    assert (few.low, few.high) == (pytest.approx(0.0456, abs=1e-4), pytest.approx(0.6994, abs=1e-4))


@pytest.mark.parametrize(
    ("markup", "band"), [(-0.5, -10), (-0.0001, -10), (0.0, 0), (0.0999, 0), (0.1, 10), (0.7, 70), (0.29, 20), (1.9999, 190), (2.0, 200), (50.0, 200)]
)  # fmt: skip
def test_a_price_at_the_edge_of_a_band_is_in_the_band_that_begins_there(markup: float, band: int) -> None:
    assert band_of(markup) == band


def test_the_order_of_quotes_never_matters() -> None:
    mixed = quotes()
    random.Random(7).shuffle(mixed)
    assert told(mixed) == told(quotes())


def test_of_no_quote_there_is_no_share() -> None:
    report = told([])
    assert (report.whole.decided, report.whole.win_share, report.by_markup) == (0, None, ())
    assert "nothing to show yet" in win_rate_chart(report, "markup")


def test_the_markup_is_that_of_the_quantity_decided_on_or_of_the_middle_one() -> None:
    body = {
        "breaks": [
            {"quantity": quantity, "unit_price": price, "unit_cost": {"planned": "100.00"}}
            for quantity, price in ((5, "250.00"), (25, "180.00"), (100, "150.00"))
        ]
    }
    assert [markup_of(body, quantity) for quantity in (5, 100, None, 7)] == [1.5, 0.5, 0.8, 0.8]
    body["breaks"][1]["unit_cost"] = {"planned": "0.00"}
    assert markup_of(body, None) is None


def test_neither_document_table_nor_chart_has_a_field_for_a_price_or_a_cost() -> None:
    report = told(quotes())
    names = set(report.model_dump()) | set(report.by_markup[0].model_dump())
    assert not {name for name in names if any(word in name for word in ("price", "cost", "amount", "margin"))}
    assert (
        win_rate_csv(report)
        .splitlines()[0]
        .startswith("by,name,decided,accepted,declined,expired,win_share,low,high,declined_price")
    )
    tree = ElementTree.fromstring(win_rate_chart(report, "markup"))
    texts = [one.text for one in tree.iter("{http://www.w3.org/2000/svg}text")]
    assert "share of decided quotes that were won [%]" in texts
    assert "7 of 10" in texts
