from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.optics.law import given as given_figure
from services.process.domain.route.knees import Demand, knee_of, next_looser
from services.process.domain.route.rate_rows import tolerance_row, yield_for
from services.shop.ramps import ramp
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import RateMissing, Rates, ToleranceClassRow

METHODS = {"centre": "bell"}


ATTRIBUTES = [
    "irregularity",
    "power",
    "imperfection_grade",
    "roughness",
    "micro_defects",
    "centring",
    "diameter",
    "centre_thickness",
]


def test_above_its_knee_a_tolerance_costs_nothing() -> None:
    assert ramp(slope=0.3, knee=1.0, figure=2.0, ramp_power=1.5) == 1.0
    assert ramp(slope=0.3, knee=1.0, figure=1.0, ramp_power=1.5) == 1.0


def test_no_tolerance_of_nothing() -> None:
    with pytest.raises(FigureOutOfRange, match="tolerance"):
        ramp(slope=0.3, knee=1.0, figure=0.0, ramp_power=1.5)


def test_a_revision_of_straight_ramps_reads_as_it_did(rates: Rates) -> None:
    """Rows of older revisions have neither power nor strength: 1 + slope (t_k/t - 1), for time as for yield."""
    row = tolerance_row(rates, "centring").model_dump(
        by_alias=True, exclude={"ramp_power", "strength", "strength_power", "time_shares"}
    )
    old = ToleranceClassRow.model_validate(row | {"knee": 3.0, "time_slope": 0.25, "yield_slope": 0.15})
    knee = knee_of("centre", (Demand("centring", 0.6, "/x"),), of_one(old, rates))
    assert knee.time_factor == pytest.approx(1 + 0.25 * 4)
    assert knee.yield_power == pytest.approx(1 + 0.15 * 4)


@pytest.mark.parametrize("attribute", ATTRIBUTES)
@given(share=st.floats(0.0, 1.0))
def test_every_ramp_rises_without_a_step_down_to_what_the_shop_can_hold(attribute: str, share: float, rates: Rates) -> None:
    row = tolerance_row(rates, attribute)
    figure = row.capability * (2 * row.knee / row.capability) ** share
    for operation in row.operations:
        asked, finer = (knee_of(operation, (Demand(attribute, by * figure, "/x"),), rates) for by in (1.0, 0.99))
        assert 1.0 <= asked.time_factor <= finer.time_factor < 1.03 * asked.time_factor
        assert 1.0 <= asked.yield_power <= finer.yield_power
        survival = yield_for(rates, operation, METHODS.get(operation, "")).yield_share
        assert survival ** (asked.yield_power - finer.yield_power) * finer.time_factor < 1.03 * asked.time_factor


def test_of_an_operation_a_tolerance_slows_only_its_share(rates: Rates) -> None:
    row = tolerance_row(rates, "imperfection_grade")
    demand = (Demand("imperfection_grade", 0.1, "/x"),)
    polish, clean, inspect = (knee_of(operation, demand, rates).time_factor - 1 for operation in ("polish", "clean", "inspect"))
    assert dict(zip(row.operations, row.time_shares, strict=True)) == {"polish": 0.3, "clean": 1.0, "inspect": 0.0}
    assert polish == pytest.approx(0.3 * clean)
    assert inspect == 0.0


def test_the_figure_of_slowed_minutes_is_what_the_line_takes(rates: Rates) -> None:
    knee = knee_of("polish", (Demand("irregularity", 0.3, "/x"), Demand("imperfection_grade", 0.1, "/x")), rates)
    figure = knee.slowed(given_figure("run_min", 10.0, "min"))
    assert figure.value == pytest.approx(10.0 * knee.time_factor)
    assert [one.name for one in figure.inputs[1].inputs] == ["irregularity, time", "imperfection_grade, time"]


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
    assert [one.name for one in both.powers()] == ["imperfection_grade, yield"]


def of_one(row: ToleranceClassRow, rates: Rates) -> Rates:
    others = tuple(one for one in rates.tolerance_classes if one.attribute != row.attribute)
    return Rates.model_construct(
        **{name: getattr(rates, name) for name in Rates.model_fields} | {"tolerance_classes": (*others, row)}
    )


def test_time_and_yield_have_a_slope_each_on_one_ramp(rates: Rates) -> None:
    changed = {"time_slope": 0.5, "yield_slope": 3.0, "ramp_power": 2.0, "strength": 4.0, "strength_power": 0.5}
    row = tolerance_row(rates, "centring").model_copy(update=changed)
    knee = knee_of("centre", (Demand("centring", row.knee / 3, "/x"),), of_one(row, rates))
    assert knee.time_factor == pytest.approx((1 + 4.0 * 0.5 * 8) ** 0.5)
    assert knee.yield_power == pytest.approx(1 + 3.0 * 8)


def test_an_unknown_tolerance_is_missing_by_name(rates: Rates) -> None:
    with pytest.raises(RateMissing, match="brilliance"):
        knee_of("polish", (Demand("brilliance", 1.0, "/x"),), rates)


@pytest.mark.parametrize(
    ("figure", "looser"), [(0.05, 0.2), (0.2, 0.5), (0.3, 0.5), (0.5, 2.0), (1.0, 2.0), (2.0, None), (10.0, None)]
)
def test_the_next_class_is_looser_until_there_is_none(figure: float, looser: float | None, rates: Rates) -> None:
    assert next_looser(tolerance_row(rates, "irregularity"), figure) == looser
