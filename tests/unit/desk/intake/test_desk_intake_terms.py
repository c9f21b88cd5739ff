"""Quantities, days and what else a line says of an order."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from services.desk.intake.days import read_day
from services.desk.intake.quantities import read_quantities
from services.desk.intake.terms import read_order


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("10/50/200 pcs", {"quantities": [10, 50, 200]}),
        ("5, 25 und 100 Stück", {"quantities": [5, 25, 100]}),
        ("10,50,200", {"quantities": [10, 50, 200]}),
        ("100,500", {"quantities": [100, 500]}),
        ("1,000", {"quantities": [1000]}),
        ("1.000 Stück", {"quantities": [1000]}),
        ("1 000 pièces", {"quantities": [1000]}),
        ("prototype 3 + series 100", {"prototypes": 3, "quantities": [100]}),
        ("2 Muster, danach 50 Stück", {"prototypes": 2, "quantities": [50]}),
        ("3 prototypes", {"quantities": [3]}),
        ("25 lenses + 5 spare L3", {"quantities": [25], "spares": [{"part": "L3", "pieces": 5}]}),
        ("25 lenses plus 5 pcs L3 spare", {"quantities": [25], "spares": [{"part": "L3", "pieces": 5}]}),
        ("5 spare L3 and 3 spare L1+L2", {"spares": [{"part": "L3", "pieces": 5}, {"part": "L1+L2", "pieces": 3}]}),
        ("100 sets", {"quantities": [100], "delivered": "sets"}),
    ],
)
def test_quantities_are_read_in_words_and_signs(text: str, values: dict[str, Any]) -> None:
    reading = read_quantities(text)
    assert reading.values == values
    assert reading.plain


@pytest.mark.parametrize(
    ("text", "asks"),
    [
        ("10,500", "one quantity or two"),
        ("EAU 500", "in a year"),
        ("5 spares", "of which element"),
        ("0", "between 1 and"),
        ("200000", "between 1 and"),
        ("10 blue ones", "not understood is blue ones"),
    ],
)
def test_quantities_that_may_mean_two_things_are_asked(text: str, asks: str) -> None:
    reading = read_quantities(text)
    assert asks in reading.asks
    for choice in reading.choices:
        assert read_quantities(choice.answer).plain


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2027-03-15", "2027-03-15"),
        ("by 15.03.2027", "2027-03-15"),
        ("15/03/2027", "2027-03-15"),
        ("03/15/2027", "2027-03-15"),
        ("05/05/2027", "2027-05-05"),
        ("March 15, 2027", "2027-03-15"),
        ("15. März 2027", "2027-03-15"),
        ("1er juin 2027", "2027-06-01"),
        ("15-Mar-2027", "2027-03-15"),
        ("Liefertermin: KW 12/2027", "2027-03-26"),
        ("Q2 2027", "2027-06-30"),
        ("end of February 2028", "2028-02-29"),
        ("15.03.27", "2027-03-15"),
    ],
)
def test_days_are_read_in_figures_words_and_weeks(text: str, day: str) -> None:
    assert read_day(text).values == {"needed_by": day}


def test_a_day_that_may_be_two_is_asked_with_both() -> None:
    assert [choice.answer for choice in read_day("03/04/2027").choices] == ["2027-04-03", "2027-03-04"]


@pytest.mark.parametrize(
    ("text", "asks"), [("31.02.2027", "no day"), ("KW 60/2027", "no week"), ("asap", "which day"), ("in 8 weeks", "which day")]
)
def test_what_is_no_day_is_asked(text: str, asks: str) -> None:
    assert asks in read_day(text).asks


def test_weeks_ahead_are_offered_as_a_day_where_today_is_known() -> None:
    assert read_day("in 8 weeks", today=date(2026, 11, 30)).choices[0].answer == "2027-01-25"


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("RFQ 2026-113", {"reference": "2026-113"}),
        ("drawing no. 4711-02", {"reference": "4711-02"}),
        ("Contact: Jane Doe, jane@optics.test", {"contact": "Jane Doe, jane@optics.test"}),
        ("First article inspection report required", {"prescription.first_article": True}),
        ("Erstmusterprüfbericht", {"prescription.first_article": True}),
        ("Payment terms: 30 days net", {"purchase_terms": "Payment terms: 30 days net"}),
        ("repeat of Q-2026-000123", {"repeats": "Q-2026-000123"}),
        ("please quote in EUR", {"currency": "EUR"}),
        ("Delivery KW 12/2027", {"needed_by": "2027-03-26"}),
        ("10/50/200", {"quantities": [10, 50, 200]}),
    ],
)
def test_lines_of_an_order_are_read(text: str, values: dict[str, Any]) -> None:
    reading = read_order(text)
    assert reading is not None
    assert reading.values == values


@pytest.mark.parametrize("text", ["R1 61.47 R2 -43.47", "60/40", "Please send us your offer", "λ/4"])
def test_lines_that_say_nothing_of_the_order_are_left(text: str) -> None:
    assert read_order(text) is None


@pytest.mark.parametrize(
    ("text", "steps"),
    [
        ("CoC required", ["certificate of conformity"]),
        ("3.1 certificate", ["material certificate"]),
        ("with measuring report and CoC", ["certificate of conformity", "measuring report"]),
        ("individually packed", ["special packing"]),
        ("Messprotokolle", ["measuring report"]),
    ],
)
def test_papers_and_packing_are_own_operations_of_the_rates(text: str, steps: list[str]) -> None:
    reading = read_order(text)
    assert reading is not None
    assert reading.values == {"own_operations": steps}
    assert all(step in reading.rule for step in steps)


@pytest.mark.parametrize(
    ("text", "asks"),
    [("glass supplied by us", "for which element"), ("split delivery", "on which days"), ("same as last time", "which quote")],
)
def test_terms_that_need_more_are_asked(text: str, asks: str) -> None:
    reading = read_order(text)
    assert reading is not None
    assert asks in reading.asks
