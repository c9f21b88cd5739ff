from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.process.domain.route.knees import Demand, knee_of, next_looser, overshoot
from services.process.domain.route.rate_rows import tolerance_row
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import RateMissing, Rates


def test_above_its_knee_a_tolerance_costs_nothing() -> None:
    assert overshoot(figure=2.0, knee=1.0) == 0.0
    assert overshoot(figure=1.0, knee=1.0) == 0.0


@given(st.floats(1e-3, 1e3), st.floats(1e-3, 1e3))
def test_the_overshoot_is_continuous_at_the_knee_and_falls_with_the_tolerance(figure: float, knee: float) -> None:
    assert overshoot(figure=figure, knee=knee) >= overshoot(figure=figure * 1.1, knee=knee) >= 0


def test_no_tolerance_of_nothing() -> None:
    with pytest.raises(FigureOutOfRange, match="tolerance"):
        overshoot(figure=0.0, knee=1.0)


def test_a_knee_touches_only_its_own_operations(rates: Rates) -> None:
    tight = (Demand("centring", 0.5, "/x"),)
    assert knee_of("centre", tight, rates).time_factor > 1
    assert knee_of("polish", tight, rates) == knee_of("polish", (), rates)


def test_knees_multiply(rates: Rates) -> None:
    figure, grade = Demand("irregularity", 0.25, "/x"), Demand("imperfection_grade", 0.1, "/x")
    both = knee_of("polish", (figure, grade), rates)
    alone = [knee_of("polish", (one,), rates) for one in (figure, grade)]
    assert both.time_factor == pytest.approx(alone[0].time_factor * alone[1].time_factor)
    assert both.yield_power == pytest.approx(alone[0].yield_power * alone[1].yield_power)
    assert [one.name for one in both.powers()] == ["irregularity, yield", "imperfection_grade, yield"]


def test_at_its_knee_the_time_factor_is_one_and_below_it_grows_with_the_slope(rates: Rates) -> None:
    row = tolerance_row(rates, "centring")
    factors = [
        knee_of("centre", (Demand("centring", row.knee / by, "/x"),), rates).time_factor for by in (0.5, 1.0, 1.0001, 2.0, 4.0)
    ]
    assert factors[:2] == [1.0, 1.0]
    assert factors[2] == pytest.approx(1.0, abs=1e-3)
    assert factors[3:] == [pytest.approx(1 + row.time_slope), pytest.approx(1 + 3 * row.time_slope)]


def test_time_and_yield_have_a_slope_each(rates: Rates) -> None:
    row = tolerance_row(rates, "centring").model_copy(update={"time_slope": 0.5, "yield_slope": 3.0})
    others = tuple(one for one in rates.tolerance_classes if one.attribute != "centring")
    shop = Rates.model_construct(
        **{name: getattr(rates, name) for name in Rates.model_fields} | {"tolerance_classes": (*others, row)}
    )
    knee = knee_of("centre", (Demand("centring", row.knee / 3, "/x"),), shop)
    assert knee.time_factor == pytest.approx(1 + 0.5 * 2)
    assert knee.yield_power == pytest.approx(1 + 3.0 * 2)


def test_an_unknown_tolerance_is_missing_by_name(rates: Rates) -> None:
    with pytest.raises(RateMissing, match="brilliance"):
        knee_of("polish", (Demand("brilliance", 1.0, "/x"),), rates)


@pytest.mark.parametrize(
    ("figure", "looser"), [(0.05, 0.2), (0.2, 0.5), (0.3, 0.5), (0.5, 2.0), (1.0, 2.0), (2.0, None), (10.0, None)]
)
def test_the_next_class_is_looser_until_there_is_none(figure: float, looser: float | None, rates: Rates) -> None:
    assert next_looser(tolerance_row(rates, "irregularity"), figure) == looser
