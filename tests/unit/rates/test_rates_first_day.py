"""A new shop's tables, begun from its answers to forty questions."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from services.rates.domain.first_day import QUESTIONS
from services.rates.domain.first_day_answers import begun, questions_for
from services.rates.domain.needs import completed
from services.rates.domain.revision import CHECKS, contradictions
from services.rates.domain.seed import seed_rates
from services.rates.errors import AnswersUnreadable
from shared_schemas.rates import TABLES, Rates

RATES = seed_rates()
ON = date(2026, 11, 30)
ANSWERS = {
    "currency": "EUR", "hours_monday_to_thursday": "7.5", "hours_friday": "6", "hours_saturday": "0",
    "closed_days": "2026-12-24, 2026-12-28..2027-01-02", "labour_shaping": "41", "labour_polishing": "48,50", "labour_centring": "47",
    "labour_coating": "39", "labour_inspection": "52", "labour_assembly": "50", "generators": "3", "generator_rate": "55",
    "largest_generated": "160", "lapping_spindles": "6", "polishing_spindles": "12", "polishing_rate": "24.00", "single_spindles": "4",
    "largest_single": "120", "polishing_shifts": "2", "volume_line": "no", "centring_machines": "1", "centring_rate": "44",
    "automatic_centring": "no", "chambers": "1", "chamber_rate": "96", "calottes": "4", "calotte_diameter": "300",
    "assembly_benches": "2", "utilisation": "70", "crown_price": "61.00", "glass_days": "15", "glass_lot_charge": "40",
    "pass_polishing": "95", "pass_coating": "97%", "pass_centring": "98.5", "overhead": "25", "margin_single": "32",
    "margin_hundred": "27", "minimum_order": "750",
}  # fmt: skip


def shop() -> Rates:
    return RATES.model_copy(update=begun(RATES, ANSWERS, on=ON))


def faults(**answers: str) -> dict[str, str]:
    with pytest.raises(AnswersUnreadable) as caught:
        begun(RATES, answers, on=ON)
    return {error.pointer: error.reason for error in caught.value.errors}


def test_there_are_forty_questions_and_each_has_an_answer_here() -> None:
    assert len(QUESTIONS) == 40
    assert {question.name for question in QUESTIONS} == set(ANSWERS)


def test_the_tables_of_a_whole_shop_agree_with_each_other() -> None:
    rates = shop()
    assert [fault for table in CHECKS for fault in contradictions(rates, table)] == []


def test_a_release_finds_nothing_missing_in_the_tables_of_a_whole_shop() -> None:
    documents = {table: [row.model_dump(mode="json", by_alias=True) for row in getattr(shop(), table)] for table in TABLES}
    assert completed(documents, release="0.2.0").gaps == ()


def test_no_answer_changes_nothing() -> None:
    assert begun(RATES, {}, on=ON) == {}


@pytest.mark.parametrize("question", [question.name for question in QUESTIONS])
def test_each_question_changes_the_tables_that_it_names_and_no_others(question: str) -> None:
    changes = next(one.changes for one in questions_for(RATES) if one.name == question)
    tables = {change.split(".")[0] for change in changes.split(", ")}
    changed = set(begun(RATES, {question: ANSWERS[question]}, on=ON))
    assert changed
    assert changed <= tables or question == "currency"


def test_what_is_usual_reads_as_an_answer() -> None:
    usual = {question.name: question.usual for question in questions_for(RATES)}
    begun(RATES, usual, on=ON)
    assert usual["margin_single"] == "30"
    assert usual["labour_polishing"] == "40.00"
    assert usual["pass_coating"] == "98.5"


def test_what_is_usual_is_said_in_the_currency_of_the_shop() -> None:
    labour = next(question for question in questions_for(RATES, "EUR") if question.name == "labour_polishing")
    assert (labour.usual, labour.unit) == ("36.40", "EUR/h")  # 40.00 at 0.91
    with pytest.raises(AnswersUnreadable):
        questions_for(RATES, "XXX")


def test_labour_goes_to_the_work_centres_that_do_that_work() -> None:
    rates = RATES.model_copy(update=begun(RATES, {"labour_polishing": "48,50"}, on=ON))
    paid = {row.name: row.labour_rate_per_h for row in rates.work_centres}
    before = {row.name: row.labour_rate_per_h for row in RATES.work_centres}
    changed = {name for name in paid if paid[name] != before[name]}
    assert {"polishing spindles", "blocking bench", "lapping spindles"} <= changed
    assert "bell centring" not in changed
    assert paid["polishing spindles"] == Decimal("48.50")


def test_a_currency_takes_every_amount_with_it() -> None:
    rates = RATES.model_copy(update=begun(RATES, {"currency": "EUR"}, on=ON))
    assert rates.base_currency == "EUR"
    assert rates.work_centre("polishing spindles").labour_rate_per_h == Decimal("40.04")  # 44.00 at 0.91
    assert rates.currency("USD").per_base == Decimal("1.098901")
    assert rates.stock_forms[0].prices[0].price_per_kg == Decimal("49.32")  # 54.20 at 0.91
    assert [row.setup_min for row in rates.work_centres] == [row.setup_min for row in RATES.work_centres]


@pytest.mark.parametrize(("code", "step"), [("EUR", "0.5"), ("JPY", "100"), ("KWD", "0.2")])
def test_prices_are_rounded_to_a_step_that_is_usual_in_the_currency(code: str, step: str) -> None:
    rates = RATES.model_copy(update=begun(RATES, {"currency": code}, on=ON))
    assert {row.rounding for row in rates.commercial} == {Decimal(step)}  # 0.50 in the demo's currency


def test_glass_follows_the_crown_in_proportion() -> None:
    crown = next(question.usual for question in questions_for(RATES) if question.name == "crown_price")
    rates = RATES.model_copy(update=begun(RATES, {"crown_price": str(2 * Decimal(crown))}, on=ON))
    for before, after in zip(RATES.stock_forms, rates.stock_forms, strict=True):
        assert [step.price_per_kg for step in after.prices] == [2 * step.price_per_kg for step in before.prices]


def test_machines_that_a_shop_has_not_leave_with_their_load() -> None:
    rates = RATES.model_copy(update=begun(RATES, {"volume_line": "no", "automatic_centring": "no"}, on=ON))
    assert not [row for row in rates.work_centres if row.method in ("volume", "automatic")]
    assert {row.name for row in rates.shop_load} == {row.name for row in rates.work_centres}


def test_a_row_that_still_has_figures_of_the_demo_stays_invented_and_says_what_was_answered() -> None:
    rates = shop()
    spindles = rates.work_centre("polishing spindles")
    assert spindles.origin == "invented"
    assert "labour_rate_per_h answered on 2026-11-30" in spindles.source
    polish = next(row for row in rates.yields if row.operation == "polish" and not row.method)
    assert polish.origin == "estimated"
    assert polish.yield_share == 0.95


def test_closed_days_take_the_place_of_the_demo_s_holidays() -> None:
    holidays = [(row.holiday, row.until) for row in shop().calendar if row.holiday]
    assert holidays == [(date(2026, 12, 24), None), (date(2026, 12, 28), date(2027, 1, 2))]


@pytest.mark.parametrize(
    ("answers", "pointer", "reason"),
    [
        ({"labour_polishing": "48 per hour"}, "/answers/labour_polishing", "it is not a number"),
        ({"labour_polishing": "1,000"}, "/answers/labour_polishing", "its comma may be decimal, or part thousands"),
        ({"labour_polishing": "38000000"}, "/answers/labour_polishing", "it is out of range"),
        ({"generators": "2.5"}, "/answers/generators", "it is not whole"),
        ({"volume_line": "perhaps"}, "/answers/volume_line", "it is neither yes nor no"),
        ({"currency": "XXX"}, "/answers/currency", "the table currencies has no such row"),
        ({"closed_days": "Christmas"}, "/answers/closed_days", "Christmas is no day"),
        ({"closed_days": "2027-01-02..2026-12-28"}, "/answers/closed_days", "2027-01-02..2026-12-28 does not end after it begins, within a year"),
        ({"labour_polish": "48"}, "/answers/labour_polish", "nobody asks that"),
        ({"margin_single": "20", "margin_hundred": "25"}, "/answers/margin_hundred", "more pieces would cost more each"),
    ],
)  # fmt: skip
def test_an_answer_that_will_not_do_is_named(answers: dict[str, str], pointer: str, reason: str) -> None:
    assert faults(**answers) == {pointer: reason}


def test_every_answer_that_will_not_do_is_named_at_once() -> None:
    assert len(faults(generators="many", chambers="none", labour_polishing="-3")) == 3
