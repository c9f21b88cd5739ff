"""The date: queues, the path that sets it, and parts that crowd a work centre."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import date, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from services.quoting.pricing.evaluation import Plans, evaluate
from services.quoting.promise.flow import Step, jobs_waiting, kingman_wait_h, passages
from services.shop.calendar import WorkingCalendar
from shared_schemas.operations import Consumed, Route
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import CalendarRow, Rates
from tests.unit.quoting.conftest import SAID, centre, material, operation, week, with_tables


def crowd(count: int) -> tuple[Route, ...]:
    """`count` equal elements, all polished at the bench, in one lens that is put together elsewhere."""
    names = [f"L{i + 1}" for i in range(count)]
    elements = [Route(part=name, kind="element", operations=(operation(**{"yield": 1.0}),)) for name in names]
    lens = Route(
        part="lens", kind="lens", consumes=tuple(Consumed(part=name) for name in names),
        operations=(operation(operation="assemble", work_centre="table", **{"yield": 1.0}),),
    )  # fmt: skip
    return (*elements, lens)


def hours(plans_of: Callable[..., Plans], rates: Rates, count: int, stations: int) -> float:
    shop = with_tables(rates, work_centres=(centre(stations=stations), centre("table")))
    members = tuple(f"L{i + 1}" for i in range(count))
    plans = plans_of(routes=crowd(count), rates=shop, bought_parts=(), materials=(material((1000, "1"), members=members),))
    return evaluate(plans, quantity=40).schedule.path.span.hours


def test_parts_that_crowd_one_station_wait_for_each_other(plans_of: Callable[..., Plans], small_rates: Rates) -> None:
    alone, four = (hours(plans_of, small_rates, count, 1) for count in (1, 4))
    polishing = (10 + 10 * 30) / 60
    assert four - alone == pytest.approx(3 * polishing)


def test_with_a_station_for_each_part_nobody_waits_for_another(plans_of: Callable[..., Plans], small_rates: Rates) -> None:
    assert hours(plans_of, small_rates, 4, 4) == pytest.approx(hours(plans_of, small_rates, 1, 4))


def test_the_path_names_the_work_centre_that_is_crowded(plans_of: Callable[..., Plans], small_rates: Rates) -> None:
    shop = with_tables(small_rates, work_centres=(centre(), centre("table")))
    materials = (material((1000, "1"), members=("L1", "L2", "L3", "L4")),)
    found = evaluate(plans_of(routes=crowd(4), rates=shop, bought_parts=(), materials=materials), quantity=40)
    assert "bench, shared by all parts" in found.lead_time.critical_path
    assert found.lead_time.critical_path[0] == "glass N-BK7"
    assert found.lead_time.critical_path[-1] == "lens"


@given(rho=st.floats(0, 0.98), stations=st.integers(1, 8))
@settings(max_examples=60, deadline=None)
def test_more_stations_never_wait_longer_and_more_load_never_shorter(rho: float, stations: int) -> None:
    def wait(load: float, benches: int) -> float:
        return kingman_wait_h(utilisation=load, squared_variation=1.0, mean_job_h=2.0, stations=benches)

    assert wait(rho, stations + 1) <= wait(rho, stations) + 1e-12
    assert wait(rho, stations) <= wait(rho + 0.01, stations)


def test_twice_the_arrivals_are_twice_the_jobs_that_wait() -> None:
    assert jobs_waiting(wait_h=3.0, jobs_per_h=2.0) == 2 * jobs_waiting(wait_h=3.0, jobs_per_h=1.0)


@given(hours=st.floats(0, 20_000), start=st.integers(0, 500))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_skipping_weeks_ends_on_the_same_day_as_counting_days(hours: float, start: int) -> None:
    calendar = WorkingCalendar((*week(), CalendarRow(name="h", holiday=date(2027, 5, 5), **SAID)))
    begin = date(2026, 11, 2) + timedelta(days=start)
    hours = round(hours, 3)
    day, left = begin, hours
    while not (calendar.hours_of(day) > 0 and left <= calendar.hours_of(day)):
        left = round(left - calendar.hours_of(day), 6)
        day += timedelta(days=1)
    assert abs((calendar.day_after_hours(begin, hours) - day).days) <= 3 * (left > 7.999 or left < 0.001)


def test_more_hours_than_the_calendar_has_are_an_error() -> None:
    with pytest.raises(FigureOutOfRange, match="9999"):
        WorkingCalendar(week()).day_after_hours(date(2026, 11, 2), 1e9)


def step(batches: int, batch_h: float = 1.0, batch_size: int = 1, setup_h: float = 0.0, wait_h: float = 0.0) -> Step:
    return Step(centre(), None, wait_h, setup_h, batch_h, batches, batch_size, setup_h + batches * batch_h)


def test_batches_move_on_as_they_are_done() -> None:
    found = passages([step(10), step(10)])
    assert [(one.ready_h, one.finish_h) for one in found] == [(0.0, 10.0), (1.0, 11.0)]


def test_a_fast_operation_ends_one_batch_after_the_slow_one_before_it() -> None:
    assert passages([step(10), step(10, batch_h=0.1)])[-1].finish_h == pytest.approx(10.1)


def test_one_batch_of_all_pieces_waits_for_the_last_of_them() -> None:
    assert passages([step(10), step(1, batch_h=3.0, batch_size=50, wait_h=2.0)])[-1].finish_h == 15.0


def test_a_larger_batch_waits_until_it_is_full() -> None:
    assert passages([step(12), step(3, batch_size=4)])[-1].ready_h == 4.0


BATCHES = st.builds(step, st.integers(1, 40), st.floats(0, 5), st.integers(1, 20), st.floats(0, 2), st.floats(0, 9))


@given(steps=st.lists(BATCHES, min_size=1, max_size=6))
@settings(max_examples=100, deadline=None)
def test_a_flow_is_never_shorter_than_its_longest_step_nor_longer_than_one_after_the_other(steps: list[Step]) -> None:
    finish = passages(steps)[-1].finish_h
    assert finish >= max(one.wait_h + one.work_h for one in steps) - 1e-9
    assert finish <= sum(one.wait_h + one.work_h for one in steps) + 1e-9


def test_the_variance_of_a_flow_is_that_of_all_its_waits_so_far() -> None:
    steps = [step(1, wait_h=3.0), step(1, wait_h=4.0), step(1, wait_h=12.0)]
    assert [one.variance for one in passages(steps)] == [9.0, 25.0, 169.0]
    assert [one.variance for one in passages(steps, waited_share=0.5)] == [2.25, 6.25, 42.25]


@pytest.mark.parametrize(("lead_days", "begun_after_days"), [(7.0, 7), (7.2, 8), (7.9, 8)])
def test_glass_that_comes_during_a_day_is_begun_on_the_next(
    lead_days: float, begun_after_days: int, plans_of: Callable[..., Plans]
) -> None:
    model = material((1000, "1"))
    steps = tuple(one.model_copy(update={"lead_days": lead_days}) for one in model.steps)
    plans = plans_of(materials=(model.model_copy(update={"steps": steps}),), bought_parts=())
    assert evaluate(plans, quantity=1).schedule.start - plans.begin == timedelta(days=begun_after_days)


@pytest.mark.parametrize(("load", "benches"), [(0.8, 2), (0.9, 2), (0.8, 4), (0.9, 8)])
def test_the_wait_before_several_stations_is_near_that_of_the_exact_queue(load: float, benches: int) -> None:
    """Poisson arrivals and exponential work: A. K. Erlang (1917), from memory; the rule is meant for busy stations."""
    offered = load * benches
    full = offered**benches / math.factorial(benches) / (1 - load)
    waits = full / (sum(offered**n / math.factorial(n) for n in range(benches)) + full)
    exact_h = waits * 2.0 / (benches * (1 - load))
    assert kingman_wait_h(utilisation=load, squared_variation=1.0, mean_job_h=2.0, stations=benches) == pytest.approx(
        exact_h, rel=0.05
    )


def test_one_station_waits_as_kingman_says() -> None:
    assert kingman_wait_h(utilisation=0.8, squared_variation=0.5, mean_job_h=3.0) == pytest.approx(0.8 / 0.2 * 0.5 * 3.0)
