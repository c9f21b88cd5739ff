"""Enough are started, and not many more."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import betainc
from scipy.stats import nbinom

from services.quoting.pricing.evaluation import Plans, evaluate
from services.quoting.pricing.relaxations import quoted_relaxations
from services.quoting.pricing.starts import chance_of_enough, start_quantity
from services.shop.calendar import WorkingCalendar
from services.shop.errors import NoWorkingDays
from shared_schemas.operations import LooserOperation, Relaxation, Tooling
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import CalendarRow
from tests.unit.quoting.conftest import SAID, week

CASES = {"wanted": st.integers(1, 2000), "yield_share": st.floats(0.05, 1.0), "confidence": st.floats(0.01, 0.999)}


@given(**CASES)
@settings(max_examples=200, deadline=None)
def test_the_start_quantity_is_the_smallest_that_is_enough(wanted: int, yield_share: float, confidence: float) -> None:
    n = start_quantity(wanted=wanted, yield_share=yield_share, confidence=confidence)
    assert chance_of_enough(started=n, wanted=wanted, yield_share=yield_share) >= confidence
    assert n == wanted or chance_of_enough(started=n - 1, wanted=wanted, yield_share=yield_share) < confidence


@given(wanted=CASES["wanted"], yield_share=CASES["yield_share"], low=st.floats(0.01, 0.9), more=st.floats(0, 0.09))
@settings(max_examples=100, deadline=None)
def test_more_confidence_never_starts_fewer(wanted: int, yield_share: float, low: float, more: float) -> None:
    assert start_quantity(wanted=wanted, yield_share=yield_share, confidence=low) <= start_quantity(
        wanted=wanted, yield_share=yield_share, confidence=low + more
    )


def by_halving(wanted: int, yield_share: float, confidence: float) -> int:
    """The same rule by halving between too few and enough, on the binomial tail."""
    below, enough = wanted - 1, math.ceil(wanted / yield_share)
    while betainc(wanted, enough - wanted + 1, yield_share) < confidence:
        below, enough = enough, 2 * enough
    while enough - below > 1:
        middle = (below + enough) // 2
        below, enough = (below, middle) if betainc(wanted, middle - wanted + 1, yield_share) >= confidence else (middle, enough)
    return enough


def test_the_quantile_gives_what_halving_and_the_negative_binomial_distribution_give() -> None:
    generator = random.Random("starts")
    for _ in range(3000):
        wanted, yield_share = round(10 ** generator.uniform(0, 5)), generator.uniform(0.05, 0.9999)
        confidence = generator.uniform(0.01, 0.999)
        started = start_quantity(wanted=wanted, yield_share=yield_share, confidence=confidence)
        assert started == by_halving(wanted, yield_share, confidence), (wanted, yield_share, confidence)
        assert started == wanted + nbinom.ppf(confidence, wanted, yield_share), (wanted, yield_share, confidence)


def test_a_perfect_yield_starts_what_is_wanted() -> None:
    assert start_quantity(wanted=17, yield_share=1.0, confidence=0.999) == 17


def test_a_hundred_thousand_are_solved_too() -> None:
    assert 110_000 < start_quantity(wanted=100_000, yield_share=0.9, confidence=0.95) < 112_000


@pytest.mark.parametrize(
    ("yield_share", "confidence", "name"),
    [(0.0, 0.9, "yield"), (1e-300, 0.9, "yield"), (1.1, 0.9, "yield"), (0.9, 1.0, "confidence"), (0.9, 0.0, "confidence")],
)
def test_what_no_number_reaches_is_an_error(yield_share: float, confidence: float, name: str) -> None:
    with pytest.raises(FigureOutOfRange, match=name):
        start_quantity(wanted=5, yield_share=yield_share, confidence=confidence)


def test_hours_end_on_working_days_only() -> None:
    calendar = WorkingCalendar((*week(), CalendarRow(name="h", holiday=date(2026, 11, 5), **SAID)))
    monday = date(2026, 11, 2)
    assert calendar.hours_per_week == 40
    assert calendar.day_after_hours(monday, 8) == monday
    assert calendar.day_after_hours(monday, 8.5) == date(2026, 11, 3)
    assert calendar.day_after_hours(monday, 25) == date(2026, 11, 6), "Thursday is a holiday"
    assert calendar.day_after_hours(date(2026, 11, 7), 0) == date(2026, 11, 9), "Saturday waits for Monday"


def test_a_calendar_without_work_is_an_error() -> None:
    with pytest.raises(NoWorkingDays):
        WorkingCalendar((CalendarRow(name="sunday", weekday=6, hours=0.0, **SAID),))


def test_a_longer_wait_for_a_tool_moves_the_date_and_the_path_says_so(plans_of: Callable[..., Plans]) -> None:
    soon = evaluate(plans_of(), quantity=5).lead_time
    tool = Tooling(name="test plate 36.4", part="L1", reason="no plate of that radius", charge=Decimal(400), lead_days=60.0)
    late = evaluate(plans_of(tooling=(tool,)), quantity=5).lead_time
    assert late.p50_days > soon.p50_days
    assert late.critical_path[0] == "test plate 36.4"
    assert soon.critical_path == ("barrel", "lens")
    assert late.p90_days >= late.p50_days


def test_a_relaxation_that_saves_is_offered_with_what_it_saves(plans_of: Callable[..., Plans]) -> None:
    plans = plans_of()
    whole = {
        "where": "/elements/0/front/form",
        "part": "L1",
        "tolerance": "irregularity",
        "from_figure": 0.25,
        "to_figure": 0.5,
        "unit": "fringe",
    }
    saves = Relaxation(**whole, operations=(LooserOperation(position=0, batch_size=4, batch_min=10.0, **{"yield": 0.97}),))
    costs = Relaxation(**whole, operations=(LooserOperation(position=0, batch_size=4, batch_min=90.0, **{"yield": 0.9}),))
    against = evaluate(plans, quantity=25)
    (found,) = quoted_relaxations(plans, (saves, costs), against=against)
    assert found.saving_per_unit > 0
    assert found.quantity == 25
