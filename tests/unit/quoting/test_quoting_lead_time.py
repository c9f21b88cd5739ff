"""The date: queues and the book, parts that crowd a work centre, lots made again, and the days that follow."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from services.quoting.pricing.evaluation import Evaluation, Plans, evaluate
from services.quoting.promise.flow import Passage, Step, behind_others_h, through
from services.quoting.promise.lead_time import Schedule, schedule
from services.quoting.promise.waits import SHARES, Waits, erlang_wait_share, jobs_waiting, wait_of_those_h
from services.quoting.risk.orders import DATED
from services.quoting.risk.shortfalls import chance_of_any
from services.shop.calendar import WorkingCalendar
from services.shop.errors import NoWorkingDays
from shared_schemas.load import CentreLoad, LoadSnapshot, OrderLoad
from shared_schemas.operations import Consumed, Route
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import CalendarRow, Rates, ShopLoadRow
from tests.unit.quoting.conftest import SAID, centre, material, operation, week, with_tables

BEGIN = date(2026, 11, 2)


def crowd(count: int) -> tuple[Route, ...]:
    """`count` equal elements, all polished at the bench, in one lens that is put together elsewhere."""
    names = [f"L{i + 1}" for i in range(count)]
    elements = [Route(part=name, kind="element", operations=(operation(**{"yield": 1.0}),)) for name in names]
    lens = Route(
        part="lens", kind="lens", consumes=tuple(Consumed(part=name) for name in names),
        operations=(operation(operation="assemble", work_centre="table", **{"yield": 1.0}),),
    )  # fmt: skip
    return (*elements, lens)


def plans_for_crowd(plans_of: Callable[..., Plans], rates: Rates, count: int, stations: int) -> Plans:
    shop = with_tables(
        rates, work_centres=(centre(stations=stations, minutes_variation=0.0), centre("table", minutes_variation=0.0)), shop_load=()
    )
    members = tuple(f"L{i + 1}" for i in range(count))
    return plans_of(routes=crowd(count), rates=shop, bought_parts=(), materials=(material((1000, "1"), members=members),))


def median_h(plans_of: Callable[..., Plans], rates: Rates, count: int, stations: int) -> float:
    return evaluate(plans_for_crowd(plans_of, rates, count, stations), quantity=40).schedule.hours(0.5)


def test_parts_that_crowd_one_station_wait_for_each_other(plans_of: Callable[..., Plans], small_rates: Rates) -> None:
    alone, four, more_room = (median_h(plans_of, small_rates, *case) for case in ((1, 1), (4, 1), (4, 2)))
    polishing = (10 + 10 * 30) / 60
    assert 0.4 * 3 * polishing < four - alone < 3 * polishing
    assert alone < more_room < four


def test_hours_behind_others_go_from_some_to_all_of_their_work() -> None:
    little, much = (behind_others_h(others_h=hours, stations=2, least_met=0.4, much_h=30.0) for hours in (0.02, 20_000.0))
    assert little == pytest.approx(0.4 * 0.02 / 2, rel=0.01)
    assert much == pytest.approx(20_000 / 2, rel=0.01)


def test_the_five_things_that_decide_are_told_with_their_days(plans_of: Callable[..., Plans], small_rates: Rates) -> None:
    found = evaluate(plans_for_crowd(plans_of, small_rates, 4, 1), quantity=40).lead_time
    assert found.critical_path[0] == "glass N-BK7"
    assert found.critical_path[-1] == "lens"
    assert 1 < len(found.decided_by) <= 5
    assert [one.days for one in found.decided_by] == sorted((one.days for one in found.decided_by), reverse=True)
    assembling = next(one for one in found.decided_by if (one.part, one.name) == ("lens", "assemble"))
    assert (assembling.share, assembling.work_centre) == (1.0, "table")
    assert sum(one.days for one in found.decided_by) <= found.p90_days + 1


def test_of_four_equal_parts_each_decides_as_often(plans_of: Callable[..., Plans], small_rates: Rates) -> None:
    network = evaluate(plans_for_crowd(plans_of, small_rates, 4, 1), quantity=40).schedule.network
    shares = [float(network.on_path[f"L{number}"].mean()) for number in (1, 2, 3, 4)]
    assert sum(shares) == pytest.approx(1.0, abs=0.05)
    assert max(shares) - min(shares) < 0.12


def test_what_is_made_again_makes_the_late_orders_later_and_not_the_median(plans_of: Callable[..., Plans]) -> None:
    evaluation = evaluate(plans_of(confidence=0.9), quantity=25)
    assert evaluation.shortfalls
    without = replace_shortfalls(evaluation)
    assert without.hours(0.99) < evaluation.schedule.hours(0.99)
    assert without.hours(0.5) <= evaluation.schedule.hours(0.5)


def replace_shortfalls(evaluation: Evaluation) -> Schedule:
    plans = evaluation.plans
    return schedule(
        routes=evaluation.made.routes, operations=evaluation.operations, materials=evaluation.materials, bought_parts=plans.bought_parts,
        tooling=(), begin=plans.begin, shop=plans.shop,
    )  # fmt: skip


@pytest.mark.parametrize("confidence", [0.6, 0.8, 0.9, 0.97])
def test_lots_fall_short_as_often_as_the_plan_of_starts_says(confidence: float, plans_of: Callable[..., Plans]) -> None:
    for quantity in (3, 25, 200):
        evaluation = evaluate(plans_of(confidence=confidence), quantity=quantity)
        elements = {part: one for part, one in evaluation.shortfalls.items() if part != "lens"}
        assert chance_of_any(elements) == pytest.approx(1 - evaluation.plan.chance, abs=0.035), quantity


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


STILL = Waits(
    Rates.model_construct(**dict.fromkeys(Rates.model_fields, ()) | {"calendar": week()}),
    WorkingCalendar(week()),
    date(2026, 11, 2),
    None,
)


def step(batches: int, batch_h: float = 1.0, batch_size: int = 1, setup_h: float = 0.0) -> Step:
    return Step(
        centre(), "polish", "L1, polish 1", setup_h, batch_h, batches, batch_size, setup_h + batches * batch_h, "polish", None
    )


def flow(*steps: Step, factor: float = 1.0, waits: Waits = STILL, **more: Any) -> Passage:
    names = {one.work_centre.name for one in steps}
    return through(steps, np.zeros(DATED), waits=waits, factors={name: np.full(DATED, factor) for name in names}, behind={}, **more)


@pytest.fixture(autouse=True)
def _centres(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(STILL, "at", lambda name: None)


def test_batches_move_on_as_they_are_done() -> None:
    found = flow(step(10), step(10))
    assert (found.ready_h, found.finish_h) == ((0.0, 1.0), (10.0, 11.0))
    assert [float(one[0]) for one in found.finishes] == [10.0, 11.0]


def test_a_fast_operation_ends_one_batch_after_the_slow_one_before_it() -> None:
    assert flow(step(10), step(10, batch_h=0.1)).done[0] == pytest.approx(10.1)


def test_one_batch_of_all_pieces_waits_for_the_last_of_them() -> None:
    assert flow(step(10), step(1, batch_h=3.0, batch_size=50)).done[0] == 13.0


def test_a_larger_batch_waits_until_it_is_full() -> None:
    assert flow(step(12), step(3, batch_size=4)).ready_h[-1] == 4.0


def test_minutes_that_are_off_make_all_work_longer() -> None:
    assert flow(step(10), step(10), factor=1.5).done[0] == pytest.approx(1.5 * flow(step(10), step(10)).done[0])


BATCHES = st.builds(step, st.integers(1, 40), st.floats(0, 5), st.integers(1, 20), st.floats(0, 2))


@given(steps=st.lists(BATCHES, min_size=1, max_size=6))
@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_flow_is_never_shorter_than_its_longest_step_nor_longer_than_one_after_the_other(steps: list[Step]) -> None:
    finish = float(flow(*steps).done[0])
    assert finish >= max(one.work_h for one in steps) - 1e-9
    assert finish <= sum(one.work_h for one in steps) + 1e-9


def waits_of(small_rates: Rates, **load: Any) -> Waits:
    row = {"name": "bench", "utilisation": 0.8, "squared_variation": 1.0, "mean_job_h": 2.0, **load}
    rates = with_tables(small_rates, shop_load=(ShopLoadRow(**row, **SAID),))
    return Waits(rates, WorkingCalendar(rates.calendar), BEGIN, None)


def test_a_job_waits_as_long_as_the_load_says_and_an_order_that_goes_first_a_share_of_it(small_rates: Rates) -> None:
    waits = waits_of(small_rates)
    mean = erlang_wait_share(stations=1, utilisation=0.8) * wait_of_those_h(
        utilisation=0.8, stations=1, mean_job_h=2.0, squared_variation=1.0
    )
    assert mean == pytest.approx(8.0)
    found = flow(step(1), waits=waits)
    assert float(found.done.mean()) == pytest.approx(1 + mean, rel=0.01)
    assert float(np.mean(found.done == 1.0)) == pytest.approx(0.2, abs=0.02), "one job in five finds the station free"
    first = flow(step(1), waits=waits, waited_share=0.25)
    assert float(first.done.mean()) == pytest.approx(1 + mean / 4, rel=0.01)


def test_an_idle_work_centre_makes_nobody_wait(small_rates: Rates) -> None:
    assert waits_of(small_rates, utilisation=0.0).at("bench") is None
    assert erlang_wait_share(stations=3, utilisation=0.0) == 0


def test_twice_the_arrivals_are_twice_the_jobs_that_wait() -> None:
    assert jobs_waiting(wait_h=3.0, jobs_per_h=2.0) == 2 * jobs_waiting(wait_h=3.0, jobs_per_h=1.0)


@given(rho=st.floats(0.01, 0.97), stations=st.integers(1, 8))
@settings(max_examples=60, deadline=None)
def test_more_stations_never_wait_longer_and_more_load_never_shorter(rho: float, stations: int) -> None:
    def wait(load: float, benches: int) -> float:
        share = erlang_wait_share(stations=benches, utilisation=load)
        return share * wait_of_those_h(utilisation=load, stations=benches, mean_job_h=2.0, squared_variation=1.0)

    assert wait(rho, stations + 1) <= wait(rho, stations) + 1e-12
    assert wait(rho, stations) <= wait(rho + 0.01, stations)


def book(*hours: float) -> LoadSnapshot:
    order = OrderLoad(order="Q-1", source="accepted", work_centres=(CentreLoad(work_centre="bench", booked_h=hours),))
    return LoadSnapshot(number=1, digest="x", made_at=datetime(2026, 11, 2, tzinfo=UTC), first_week=BEGIN, orders=(order,))


def test_the_book_says_how_full_the_next_weeks_are_and_the_usual_load_how_full_the_later_ones(small_rates: Rates) -> None:
    row = ShopLoadRow(name="bench", utilisation=0.8, squared_variation=1.0, mean_job_h=2.0, booked_share=0.75, **SAID)
    rates = with_tables(small_rates, shop_load=(row,))
    centre_waits = Waits(rates, WorkingCalendar(rates.calendar), BEGIN, book(10.0, 20.0)).at("bench")
    assert centre_waits is not None
    loads = [round(week.load, 4) for week in centre_waits.weeks]
    assert loads[0] == round(0.8 * 0.25 + 10 / 40, 4)
    assert loads[1] == round(0.8 * (1 - 0.75 * 12 / 13) + 20 / 40, 4)
    assert loads[13] == loads[-1] == 0.8


def test_work_beyond_the_hours_of_a_week_stands_before_the_next(small_rates: Rates) -> None:
    full, emptier = (
        Waits(small_rates, WorkingCalendar(small_rates.calendar), BEGIN, book(*hours)).at("bench")
        for hours in ((40.0, 40.0, 0.0), (40.0, 0.0))
    )
    assert full is not None
    assert emptier is not None
    assert full.weeks[1].behind_h == pytest.approx((0.5 + 1.0 - 1) * 40)
    assert full.weeks[2].behind_h == pytest.approx(2 * full.weeks[1].behind_h)
    assert all(one.behind_h >= other.behind_h for one, other in zip(full.weeks, emptier.weeks, strict=True))
    assert full.weeks[-1].behind_h == 0


def test_who_comes_later_is_not_through_before(small_rates: Rates) -> None:
    waits = Waits(small_rates, WorkingCalendar(small_rates.calendar), BEGIN, book(0.0, 80.0, 0.0, 0.0)).at("bench")
    assert waits is not None
    through_at = [at_h + waits.of(np.full(SHARES, at_h), np.arange(SHARES)) for at_h in np.linspace(0, 300, 61)]
    assert all((later >= sooner - 1e-9).all() for sooner, later in pairwise(through_at))


@pytest.mark.parametrize(("lead_days", "begun_after_days"), [(7.0, 7), (7.2, 8), (7.9, 8)])
def test_glass_that_comes_during_a_day_is_begun_on_the_next(
    lead_days: float, begun_after_days: int, plans_of: Callable[..., Plans]
) -> None:
    model = material((1000, "1"))
    steps = tuple(one.model_copy(update={"lead_days": lead_days}) for one in model.steps)
    plans = plans_of(materials=(model.model_copy(update={"steps": steps}),), bought_parts=())
    found = evaluate(plans, quantity=1).schedule
    (days,) = found.operation_days()["L1"]
    assert days[0] == plans.begin + timedelta(days=begun_after_days)


def test_a_second_shift_does_twice_the_work_in_an_hour(plans_of: Callable[..., Plans], small_rates: Rates) -> None:
    one, two = (
        evaluate(
            plans_of(rates=with_tables(small_rates, work_centres=(centre(shifts=shifts, minutes_variation=0.0),), shop_load=())),
            quantity=40,
        )
        for shifts in (1, 2)
    )
    works = [found.schedule.network.parts["L1"].steps[0].work_h for found in (one, two)]
    assert works[0] == pytest.approx(2 * works[1])
    assert two.schedule.hours(0.9) < one.schedule.hours(0.9)
    assert two.costs.operations == one.costs.operations


def test_a_shutdown_takes_all_its_days() -> None:
    shut = CalendarRow(name="shutdown", holiday=date(2026, 12, 21), until=date(2027, 1, 1), **SAID)
    calendar = WorkingCalendar((*week(), shut))
    assert calendar.day_after_hours(date(2026, 12, 18), 9) == date(2027, 1, 4)
    assert calendar.hours_between(date(2026, 12, 18), date(2027, 1, 5)) == 16
    assert calendar.hours_between(date(2026, 12, 18), date(2026, 12, 1)) == 0


def test_hours_between_two_days_are_those_of_each_day_however_far() -> None:
    calendar = WorkingCalendar((*week(), CalendarRow(name="h", holiday=date(2027, 5, 5), **SAID)))
    for days in (0, 1, 5, 100, 209, 210, 211, 500):
        assert calendar.hours_between(BEGIN, BEGIN + timedelta(days=days)) == sum(
            calendar.hours_of(BEGIN + timedelta(days=day)) for day in range(days)
        )


def test_a_calendar_without_a_working_day_within_a_year_is_named() -> None:
    shut = CalendarRow(name="shutdown", holiday=date(2026, 11, 2), until=date(2027, 12, 1), **SAID)
    with pytest.raises(NoWorkingDays, match="within a year of 2026-11-02"):
        WorkingCalendar((*week(), shut)).day_after_hours(BEGIN, 1.0)
