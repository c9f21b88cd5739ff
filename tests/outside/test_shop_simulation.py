"""The simulated shop against what is known of queues, merging paths and calendars, before dates are held against it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
import simpy

from services.rates.domain.seed import seed_rates
from shared_schemas.load import CentreLoad, LoadSnapshot, OrderLoad
from shared_schemas.rates import CalendarRow, Rates, ShopLoadRow, WorkCentreRow
from tests import chain
from tests.outside.shop_simulation import (
    Centre,
    Line,
    Others,
    Part,
    ShopJob,
    ShopTime,
    order_in_shop,
    others_at,
    simulate,
)
from tests.outside.simulated_jobs import planned, plans_of

MONDAY = date(2026, 12, 14)
NO_BOOK = np.empty((2, 0))
SEED_RATES = seed_rates()


def row(name: str, *, stations: int = 1, variation: float = 0.0, shifts: int = 1) -> WorkCentreRow:
    one = SEED_RATES.work_centres[0]
    return one.model_copy(update={"name": name, "stations": stations, "minutes_variation": variation, "shifts": shifts})


def load(name: str, *, utilisation: float, squared_variation: float = 1.0, booked_share: float = 0.0) -> ShopLoadRow:
    return ShopLoadRow(
        name=name,
        source="made up",
        as_of=MONDAY,
        utilisation=utilisation,
        squared_variation=squared_variation,
        mean_job_h=1.0,
        booked_share=booked_share,
    )


def shop(centres: Sequence[WorkCentreRow], loads: Sequence[ShopLoadRow] = (), *, hours: float = 8.0) -> Rates:
    """A shop that works from Monday to Friday and is shut from Christmas Eve to New Year."""
    week = [
        CalendarRow(name=str(day), source="made up", as_of=MONDAY, weekday=day, hours=hours if day < 5 else 0.0) for day in range(7)
    ]
    shut = CalendarRow(name="shut", source="made up", as_of=MONDAY, holiday=date(2026, 12, 24), until=date(2027, 1, 1))
    return SEED_RATES.model_copy(update={"work_centres": tuple(centres), "shop_load": tuple(loads), "calendar": (*week, shut)})


def centre(*, stations: int, utilisation: float, squared_variation: float = 1.0, seed: int = 5) -> Centre:
    others = Others(load("one", utilisation=utilisation, squared_variation=squared_variation), np.zeros(1), np.ones(1), NO_BOOK)
    return Centre(row("one", stations=stations), others, np.random.default_rng(seed))


def waits_and_busy(one: Centre, until: int) -> tuple[np.ndarray, float]:
    """What a job would wait that came at one of many times, and the share of stations that are busy then."""
    waits, busy = np.empty(until // 2), 0
    for place in range(until // 2):
        one.advance(2.0 * place)
        waits[place] = max(one.free[0] - 2.0 * place, 0.0)
        busy += sum(free > 2.0 * place for free in one.free)
    return waits, busy / len(waits) / one.row.stations


@pytest.mark.parametrize(
    ("stations", "utilisation", "waits_at_all", "mean_wait"),
    [(1, 0.9, 0.9, 9.0), (2, 0.8, 0.711111, 1.77778), (4, 0.9, 0.787753, 1.96938)],
)
def test_a_queue_is_as_long_as_erlang_says(stations: int, utilisation: float, waits_at_all: float, mean_wait: float) -> None:
    # Erlang C and the mean wait of M/M/m in units of the mean work (A. K. Erlang, 1917; from memory).
    waits, busy = waits_and_busy(centre(stations=stations, utilisation=utilisation), 1_000_000)
    assert busy == pytest.approx(utilisation, rel=0.01)
    assert (waits > 0).mean() == pytest.approx(waits_at_all, rel=0.015)
    assert waits.mean() == pytest.approx(mean_wait, rel=0.05)


def test_nine_in_ten_wait_no_longer_than_the_tail_of_m_m_2_says() -> None:
    # P(W > t) = C exp(-m (1 - rho) t / tau): 4.90415 for two stations at 0.8 (from memory).
    waits, _ = waits_and_busy(centre(stations=2, utilisation=0.8, seed=6), 600_000)
    assert np.quantile(waits, 0.9) == pytest.approx(4.90415, rel=0.05)


def test_work_that_varies_less_waits_less_as_pollaczek_and_khinchine_say() -> None:
    # M/G/1: rho / (1 - rho) x (1 + c_s^2) / 2 x tau (F. Pollaczek 1930, A. Khinchine 1932; from memory).
    for squared_variation in (0.5, 0.7, 1.1):
        one = centre(stations=1, utilisation=0.8, squared_variation=squared_variation)
        assert waits_and_busy(one, 600_000)[0].mean() == pytest.approx(4 * squared_variation, rel=0.05)


def test_the_queue_is_in_its_steady_state_when_the_order_comes() -> None:
    first = [centre(stations=1, utilisation=0.9, seed=seed).enter(0.0, 1.0) for seed in range(3000)]
    assert np.mean(first) == pytest.approx(9.0, abs=3 * 10 / math.sqrt(3000))


def test_jobs_begin_when_they_would_in_a_queue_of_simpy() -> None:
    rng = np.random.default_rng(3)
    booked = np.array([np.sort(rng.uniform(0, 200, 300)), rng.exponential(1.2, 300)])
    own = [(float(time), float(work)) for time, work in zip(np.sort(rng.uniform(0, 200, 40)), rng.exponential(2, 40), strict=True)]
    one = Centre(row("one", stations=2), Others(None, np.zeros(1), np.ones(1), booked), rng)
    begins = [one.enter(time, work) for time, work in own]

    env = simpy.Environment()
    stations = simpy.Resource(env, capacity=2)
    seen: dict[float, float] = {}

    def visit(time: float, work: float) -> simpy.events.ProcessGenerator:
        yield env.timeout(time)
        with stations.request() as turn:
            yield turn
            seen[time] = env.now
            yield env.timeout(work)

    for time, work in [*own, *zip(*booked.tolist(), strict=True)]:
        env.process(visit(time, work))
    env.run()
    assert begins == pytest.approx([seen[time] for time, _ in own])


def test_working_days_pass_over_a_shutdown() -> None:
    # Closed from 2026-12-24 to 2027-01-01, five, seven and eight working days from Monday, 14 December (counted by hand).
    time = ShopTime(shop([]).calendar, MONDAY)
    assert [time.at(date(2026, 12, 21)), time.at(date(2026, 12, 23)), time.at(date(2027, 1, 4))] == [40, 56, 64]
    assert [time.day_of(hours + 0.01) for hours in (40, 56, 64)] == [date(2026, 12, 21), date(2026, 12, 23), date(2027, 1, 4)]
    assert [time.day_of(hours) for hours in (0, 8, 64)] == [MONDAY, MONDAY, date(2026, 12, 23)]


def test_a_shop_that_begins_in_the_middle_of_a_week_counts_from_there() -> None:
    time = ShopTime(shop([]).calendar, MONDAY + timedelta(days=2))
    assert (time.at(MONDAY), time.at(MONDAY + timedelta(days=2)), time.weeks()[1]) == (-16, 0, 24)


def line(name: str, hours: float, **fields: float | str | None) -> Line:
    return Line(**{"work_centre": name, "setup_h": 0.0, "batch_size": 100, "batch_h": hours, **fields})  # type: ignore[arg-type]


def hours_of(rates: Rates, job: ShopJob, *, seed: int = 1) -> float:
    return order_in_shop(job, rates, begin=MONDAY, seed=seed)[0].done_h()


def test_one_operation_takes_its_set_up_and_its_batches() -> None:
    rates = shop([row("one"), row("two shifts", shifts=2)])
    for name, hours in (("one", 7.0), ("two shifts", 3.5)):
        lens = Part("lens", (line(name, 2.0, setup_h=1.0, batch_size=4),), started=12)
        assert hours_of(rates, ShopJob((lens,), 12)) == pytest.approx(hours)
        assert simulate(ShopJob((lens,), 12), rates, begin=MONDAY, seed=1) == [MONDAY]
    late = Part("lens", (line("one", 1.0),), started=1, lead_days=11)
    assert simulate(ShopJob((late,), 1), rates, begin=MONDAY, seed=1, runs=2) == [date(2027, 1, 4)] * 2


@pytest.mark.parametrize(
    ("second", "hours"),
    [
        (line("two", 3.0, batch_size=1), 1 + 2 + 6 * 3),  # each piece as soon as it is there
        (line("two", 1.0, batch_size=1), 1 + 6 * 2 + 1),  # behind the slower one before it
        (line("two", 5.0, batch_size=2), 1 + 2 * 2 + 3 * 5),
        (line("two", 3.0, batch_size=4), 1 + 6 * 2 + 3),
        (line("two", 3.0, batch_size=6), 1 + 6 * 2 + 3),  # all in one batch: waits for all
        (line("two", 3.0, batch_size=6, setup_h=1.0), 1 + 6 * 2 + 1 + 3),
    ],
)
def test_batches_move_on_as_they_are_done(second: Line, hours: float) -> None:
    rates = shop([row("one"), row("two")])
    first = line("one", 2.0, setup_h=1.0, batch_size=1)
    assert hours_of(rates, ShopJob((Part("lens", (first, second), started=6),), 6)) == pytest.approx(hours)


def test_parts_that_wait_at_the_same_time_share_a_run() -> None:
    rates = shop([row("chamber"), row("bench")])
    one, two, three = (
        Part(name, (Line("chamber", 0.0, 10, 5.0, shared_run="film"),), started=pieces)
        for name, pieces in (("one", 10), ("two", 4), ("three", 6))
    )
    lens = Part("lens", (line("bench", 1.0),), started=1, consumes=(("one", 1), ("two", 1), ("three", 1)))
    assert hours_of(rates, ShopJob((one, two, three, lens), 1)) == pytest.approx(5 + 5 + 1)


def paths_of(parts: Sequence[tuple[float, float]], tail: tuple[float, float]) -> tuple[Rates, ShopJob]:
    """Parts of one operation each, mean hours and coefficient of variation, at centres of their own; and one operation behind all."""
    names = [f"path {place}" for place in range(len(parts))]
    rates = shop([*(row(name, variation=one[1]) for name, one in zip(names, parts, strict=True)), row("tail", variation=tail[1])])
    made = [Part(name, (line(name, one[0]),), started=1) for name, one in zip(names, parts, strict=True)]
    lens = Part("lens", (line("tail", tail[0]),), started=1, consumes=tuple((name, 1) for name in names))
    return rates, ShopJob((*made, lens), 1)


def hours_of_many(rates: Rates, job: ShopJob, runs: int) -> np.ndarray:
    return np.array([hours_of(rates, job, seed=seed) for seed in range(runs)])


def test_where_paths_merge_the_last_decides() -> None:
    # Log-normal paths of 30, 28, 24 (cv 0.25, 0.25, 0.35) and a tail of 6 (0.30): by numerical convolution the mean of the longest
    # is 34.389, and by 10^6 draws half are done by 39.503 and nine in ten by 49.961.
    parts = ((30.0, 0.25), (28.0, 0.25), (24.0, 0.35))
    hours = hours_of_many(*paths_of(parts, (6.0, 0.30)), runs=4000)
    assert hours.mean() - 6 == pytest.approx(34.389, abs=0.4)
    assert (hours <= 39.503).mean() == pytest.approx(0.5, abs=0.025)
    assert (hours <= 49.961).mean() == pytest.approx(0.9, abs=0.015)


def test_three_alike_paths_are_all_done_as_seldom_as_the_cube_of_one() -> None:
    one = np.quantile(hours_of_many(*paths_of([(30.0, 0.25)], (0.0, 0.0)), runs=4000), 0.9)
    three = hours_of_many(*paths_of([(30.0, 0.25)] * 3, (0.0, 0.0)), runs=4000)
    assert (three <= one).mean() == pytest.approx(0.729, abs=0.03)


LOSSES = {"yield_share": 0.9, "batch_loss": 0.05, "rework_share": 0.7, "rework_yield": 0.8, "rework_h": 0.5}


def test_pieces_are_lost_as_often_as_the_operations_say() -> None:
    rates = shop([row("one")])
    element = Part("L1", (line("one", 1.0, batch_size=10, **LOSSES), line("one", 1.0, batch_size=7, yield_share=0.95)), started=40)
    lens = Part("lens", (line("one", 0.0),), started=1, consumes=(("L1", 1),))
    left = []
    for seed in range(1500):
        order, _ = order_in_shop(ShopJob((element, lens), 1), rates, begin=MONDAY, seed=seed)
        order.done_h()
        assert order.made_again == []
        left.append(order.stock["L1"] + 1)
    kept = (0.9 + 0.1 * 0.56) * (1 - 0.05 * 0.44) * 0.95
    assert element.kept_share == pytest.approx(kept)
    assert np.mean(left) / 40 == pytest.approx(kept, abs=0.006)
    assert max(left) <= 40


def test_what_is_missing_is_made_again_until_the_order_is_whole() -> None:
    rates = shop([row("one"), row("two"), row("bench")])
    first = Part("L1", (line("one", 4.0, batch_size=5, **LOSSES),), started=10)
    second = Part("L2", (line("two", 3.0, batch_size=5, yield_share=0.8),), started=30)
    lens = Part("lens", (line("bench", 0.5, batch_size=1, yield_share=0.8),), started=10, consumes=(("L1", 1), ("L2", 2)))
    again = set()
    for seed in range(100):
        order, _ = order_in_shop(ShopJob((first, second, lens), 10), rates, begin=MONDAY, seed=seed)
        assert order.done_h() > 10 * 0.5 + 8
        assert all(stock >= 0 for stock in order.stock.values())
        assert order.stock["lens"] == 0
        again |= {part for part, _ in order.made_again}
    assert again == {"L1", "L2", "lens"}


def test_a_lost_set_is_made_of_spares_and_only_then_of_new_elements() -> None:
    rates = shop([row("one"), row("bench")])
    rare = line("bench", 1.0, yield_share=0.5)
    for started, parts_made_again in ((40, {"lens"}), (2, {"lens", "L1"})):
        element = Part("L1", (line("one", 1.0),), started=started)
        again = set()
        for seed in range(40):
            lens = Part("lens", (rare,), started=2, consumes=(("L1", 1),))
            order, _ = order_in_shop(ShopJob((element, lens), 2), rates, begin=MONDAY, seed=seed)
            order.done_h()
            again |= {part for part, _ in order.made_again}
        assert again == parts_made_again


def book_of(hours: Sequence[float], *, orders: int = 1) -> LoadSnapshot:
    taken = (CentreLoad(work_centre="one", booked_h=tuple(hours)),)
    return LoadSnapshot(
        number=1,
        digest="",
        made_at=datetime(2026, 12, 14, tzinfo=UTC),
        first_week=MONDAY,
        orders=tuple(OrderLoad(order=f"O{place}", source="shop", work_centres=taken) for place in range(orders)),
    )


def test_booked_hours_come_in_their_week_and_the_rest_of_the_usual_work_as_it_is_not_yet_known() -> None:
    usual = load("one", utilisation=0.8, booked_share=0.75)
    rates = shop([row("one")], [usual])
    time = ShopTime(rates.calendar, MONDAY)
    others = others_at(rates.work_centres[0], rates, time, book_of((0.0, 6.0, 0.0, 9.0), orders=2), np.random.default_rng(1))
    times, work = others.booked
    assert work.sum() == pytest.approx(30)
    assert work[times < 40].sum() == 0
    assert work[(times >= 40) & (times < 64)].sum() == pytest.approx(12)
    assert len(work) == 2 * (6 + 9)
    assert others.left[[0, 1, 13, 20]] == pytest.approx([0.25, 1 - 0.75 * 12 / 13, 1, 1])


def test_a_fuller_book_makes_an_order_wait_longer_in_the_mean() -> None:
    rates = shop([row("one")], [load("one", utilisation=0.7, booked_share=1.0)])
    job = ShopJob((Part("lens", (line("one", 4.0), line("one", 4.0)), started=1),), 1)
    mean = [
        np.mean([order_in_shop(job, rates, book=book_of((hours,)), begin=MONDAY, seed=seed)[0].done_h() for seed in range(300)])
        for hours in (0.0, 20.0, 35.0)
    ]
    assert mean[0] + 1 < mean[1] < mean[2] - 1


def test_the_same_seed_gives_the_same_days() -> None:
    rates = shop([row("one", variation=0.25)], [load("one", utilisation=0.8)])
    job = ShopJob((Part("lens", (line("one", 8.0, yield_share=0.8),), started=5),), 5)
    days = simulate(job, rates, begin=MONDAY, seed=7, runs=20)
    assert days == simulate(job, rates, begin=MONDAY, seed=7, runs=20)
    assert len(set(days)) > 3


def test_a_quoted_job_takes_the_hours_in_the_simulated_shop_that_it_is_charged_for() -> None:
    evaluation, job = planned(plans_of(chain.published_triplet(), SEED_RATES), 25)
    for part in job.parts:
        for one, cost in zip(part.lines, evaluation.operations[part.name], strict=True):
            if one.shared_run is None:
                failed = 1 - one.yield_share * (1 - one.batch_loss)
                rework_h = cost.pieces * failed * one.rework_share * one.rework_h
                hours = one.setup_h + cost.batches * one.batch_h + cost.pieces * one.piece_h + rework_h
                assert hours == pytest.approx(cost.machine_min / 60)
    lead_days = max(part.lead_days for part in job.parts)
    assert min(simulate(job, SEED_RATES, begin=chain.QUOTED_ON, seed=1, runs=20)) > chain.QUOTED_ON + timedelta(days=lead_days)
