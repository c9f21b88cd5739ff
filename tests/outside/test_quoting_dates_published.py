"""Merging paths, waits and the calendar of a date against published formulas, worked out exactly and drawn as quotes draw them.

A quantile of 1 000 draws lies within z sqrt(s (1 - s) / 1000) / f of the exact one, f the density there; z is 3 throughout. A mean
lies within 3 sd / sqrt(1000). Draws that are stratified, as here each thing by itself, lie nearer.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from datetime import date
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import pytest
from scipy.optimize import brentq
from scipy.stats import expon, lognorm, norm

from services.quoting.promise.flow import Passage
from services.quoting.promise.network import MakingAgain, Network, PartInTime, quantile
from services.quoting.promise.waits import Waits, erlang_wait_share, mean_wait_h, places_of, wait_of_those_h
from services.quoting.risk.orders import DATED, dated_order, skewed
from services.shop.calendar import WorkingCalendar
from shared_schemas.operations import Consumed, Route
from shared_schemas.rates import CalendarRow, Rates, ShopLoadRow
from tests.unit.quoting.conftest import SAID, centre, operation, week

Numbers = npt.NDArray[np.float64]
Distribution = Callable[[float], float]

MERGING = "D. T. Hulett, Project schedule risk analysis (PMI), https://www.pmi.org/learning/library/project-schedule-risk-analysis-simulation-4620"
"""Where paths run side by side the last of them counts: P(max <= t) = F_1(t) F_2(t)...; the longest path alone is too early."""
WIDE = 3.0


def shares_of(name: str) -> Numbers:
    """The middle of each of a thousand equal shares, in the order in which a date draws the thing of that name."""
    return np.asarray((dated_order(name) + 0.5) / DATED)


def of_part(name: str, hours: Numbers, consumes: Sequence[str] = (), arrival: Numbers | None = None) -> PartInTime:
    """A part that is done after those hours."""
    start = np.zeros(DATED) if arrival is None else arrival
    route = Route(
        part=name,
        kind="lens" if consumes else "element",
        consumes=tuple(Consumed(part=one) for one in consumes),
        operations=(operation(),),
    )
    return PartInTime(route, None, (), Passage(start, (start,), (start + hours,), np.zeros(DATED)), None, None)


STILL = Waits(
    Rates.model_construct(**dict.fromkeys(Rates.model_fields, ()) | {"calendar": week()}),
    WorkingCalendar(week()),
    date(2026, 11, 2),
    None,
)


def merged(paths: Sequence[Numbers], tail: Numbers | None = None) -> Network:
    """A lens that waits for every path, and then for its own work."""
    parts = {f"L{place}": of_part(f"L{place}", hours) for place, hours in enumerate(paths)}
    arrival = np.maximum.reduce([part.done for part in parts.values()])
    lens = of_part("lens", np.zeros(DATED) if tail is None else tail, tuple(parts), arrival)
    return Network({**parts, "lens": lens}, MakingAgain(STILL))


def sampling(share: float, density: float) -> float:
    """How far a quantile of the draws may lie from the exact one."""
    return WIDE * math.sqrt(share * (1 - share) / DATED) / density


def near_quantiles(done: Numbers, at: dict[float, float], below: Distribution) -> None:
    """The quantiles of the draws are the exact ones `at`, within what a thousand draws tell; the density is taken from the exact distribution."""
    rising = np.sort(done)
    for share, exact in at.items():
        assert below(exact) == pytest.approx(share, abs=1e-4)
        density = (below(exact + 1e-3) - below(exact - 1e-3)) / 2e-3
        assert quantile(rising, share) == pytest.approx(exact, abs=sampling(share, density)), share


@pytest.mark.parametrize(
    ("paths", "mean", "p50", "p90", "by_the_day_of_one"), [(1, 25.0, 23.4657, 31.5129, 0.9), (3, 29.1667, 27.8921, 36.8324, 0.729)]
)
def test_the_last_of_paths_that_are_exponential(paths: int, mean: float, p50: float, p90: float, by_the_day_of_one: float) -> None:
    # MERGING; n paths of 20 + Exp(5): E max = 20 + 5 (1 + 1/2 + ... + 1/n), quantile 20 - 5 ln(1 - s^(1/n)); arithmetic.
    assert mean == pytest.approx(20 + 5 * sum(1 / k for k in range(1, paths + 1)), abs=5e-5)
    done = merged([expon(20, 5).ppf(shares_of(f"path {place}")) for place in range(paths)]).done
    near_quantiles(done, {0.5: p50, 0.9: p90}, lambda t: float(expon(20, 5).cdf(t)) ** paths)
    sd = 5 * math.sqrt(sum(1 / k**2 for k in range(1, paths + 1)))
    assert done.mean() == pytest.approx(mean, abs=WIDE * sd / math.sqrt(DATED))
    tolerance = WIDE * math.sqrt(by_the_day_of_one * (1 - by_the_day_of_one) / DATED)
    assert np.mean(done <= 31.5129) == pytest.approx(by_the_day_of_one, abs=tolerance)


def test_the_last_of_two_paths_that_are_normal() -> None:
    # MERGING; two paths N(30, 4): E max = 30 + 4 / sqrt(pi) (C. E. Clark, 1961, from memory), P(max <= t) = Phi^2.
    assert pytest.approx(32.2568, abs=5e-5) == 30 + 4 / math.sqrt(math.pi)
    done = merged([norm(30, 4).ppf(shares_of(f"path {place}")) for place in range(2)]).done
    near_quantiles(done, {0.5: 32.1798, 0.9: 36.5289}, lambda t: float(norm(30, 4).cdf(t)) ** 2)
    sd = 4 * math.sqrt(1 - 1 / math.pi)
    assert done.mean() == pytest.approx(32.2568, abs=WIDE * sd / math.sqrt(DATED))


def test_each_path_more_makes_the_last_later() -> None:
    paths = [expon(20, 5).ppf(shares_of(f"path {place}")) for place in range(8)]
    done = [merged(paths[: count + 1]).done for count in range(8)]
    assert all((later >= sooner).all() for sooner, later in pairwise(done))


PATHS = {"A": (30.0, 0.25), "B": (28.0, 0.25), "C": (24.0, 0.35)}
TAIL = (6.0, 0.30)
REMAKE, REMAKE_DAYS = 0.10, 15.0
STEP = 0.01


def log_normal(mean: float, variation: float) -> lognorm:
    """Mean and coefficient of variation: log-sd sqrt(ln(1 + v^2)), scale mean exp(-sd^2/2)."""
    spread = math.sqrt(math.log1p(variation**2))
    return lognorm(s=spread, scale=mean * math.exp(-(spread**2) / 2))


def exactly(*, paths: Sequence[str], remake: float) -> tuple[Numbers, Numbers]:
    """The worked lens by convolution on a grid of a hundredth of a day: days, and the chance that it is done by then."""
    edges = np.arange(0, 200 + STEP, STEP)
    middle = edges[:-1] + STEP / 2
    last = np.diff(np.prod([log_normal(*PATHS[name]).cdf(edges) for name in paths], axis=0))
    whole = np.convolve(last, np.diff(log_normal(*TAIL).cdf(edges)))[: len(middle)]
    again = np.zeros_like(whole)
    again[round(REMAKE_DAYS / STEP) :] = whole[: -round(REMAKE_DAYS / STEP)]
    mass = (1 - remake) * whole + remake * again
    return middle + STEP / 2, np.cumsum(mass)


def drawn(mean: float, variation: float, name: str) -> Numbers:
    """As a date draws it: one from the middle of each equal share."""
    return np.asarray(mean * skewed(variation)[::10][dated_order(name)])


WORKED: list[tuple[tuple[str, ...], float, dict[float, float]]] = [
    (("A", "B", "C"), REMAKE, {0.5: 40.459, 0.9: 53.677, 0.95: 58.151}),
    (("A", "B", "C"), 0.0, {0.5: 39.503, 0.9: 49.961}),
    (("A",), 0.0, {0.5: 35.139, 0.9: 46.133}),
]


@pytest.mark.parametrize(("paths", "remake", "at"), WORKED)
def test_the_worked_lens(paths: tuple[str, ...], remake: float, at: dict[float, float]) -> None:
    # Element paths log-normal A (30 d, 25 %), B (28, 25 %), C (24, 35 %), tail (6, 30 %), in one lens of ten 15 days more; computed independently
    # by convolution, and where no remake is in by a million draws. MERGING.
    days, chance = exactly(paths=paths, remake=remake)
    for share, day in at.items():
        assert float(np.interp(share, chance, days)) == pytest.approx(day, abs=0.05)
    network = merged([drawn(*PATHS[name], f"path {name}") for name in paths], drawn(*TAIL, "tail"))
    done = network.done + np.where(shares_of("remake") < remake, REMAKE_DAYS, 0.0)
    rising = np.sort(done)
    for share, day in at.items():
        density = float(np.interp(day + 0.5, days, chance) - np.interp(day - 0.5, days, chance))
        assert quantile(rising, share) == pytest.approx(day, abs=sampling(share, density)), share


def test_the_means_of_the_worked_lens_and_what_its_longest_path_alone_would_promise() -> None:
    network = merged([drawn(*PATHS[name], f"path {name}") for name in PATHS], drawn(*TAIL, "tail"))
    done = network.done + np.where(shares_of("remake") < REMAKE, REMAKE_DAYS, 0.0)
    arrival = network.lens.passage.arrival
    assert arrival.mean() == pytest.approx(34.389, abs=WIDE * float(arrival.std()) / math.sqrt(DATED))
    assert done.mean() == pytest.approx(41.889, abs=WIDE * float(done.std()) / math.sqrt(DATED))
    days, chance = exactly(paths=tuple(PATHS), remake=REMAKE)
    assert float(np.interp(46.133, days, chance)) == pytest.approx(0.7329, abs=2e-3)
    assert float(np.mean(done <= 46.133)) == pytest.approx(0.7329, abs=WIDE * math.sqrt(0.7329 * 0.2671 / DATED))


@pytest.mark.parametrize(
    ("stations", "load", "waiting", "wait"), [(1, 0.9, 0.9, 9.0), (2, 0.8, 0.711111, 1.77778), (4, 0.9, 0.787753, 1.96938)]
)
def test_waits_before_one_station_and_several(stations: int, load: float, waiting: float, wait: float) -> None:
    # A. K. Erlang (1917); M/M/m in any book on queues, from memory; computed independently. One job is the unit of time.
    share = erlang_wait_share(stations=stations, utilisation=load)
    assert share == pytest.approx(waiting, abs=1e-6)
    those = wait_of_those_h(utilisation=load, stations=stations, mean_job_h=1.0, squared_variation=1.0)
    assert mean_wait_h(waiting_share=share, wait_of_those_h=those, unknown_share=1.0) == pytest.approx(wait, abs=1e-5)


@pytest.mark.parametrize(("stations", "load", "sakasegawa"), [(1, 0.9, 9.0), (2, 0.8, 1.80913), (4, 0.9, 1.99067)])
def test_the_exact_wait_is_within_two_per_cent_of_the_well_known_shortcut(stations: int, load: float, sakasegawa: float) -> None:
    # H. Sakasegawa (1977): rho^(sqrt(2(m+1)) - 1) / (m (1 - rho)), from memory.
    assert load ** (math.sqrt(2 * (stations + 1)) - 1) / (stations * (1 - load)) == pytest.approx(sakasegawa, abs=1e-5)
    those = wait_of_those_h(utilisation=load, stations=stations, mean_job_h=1.0, squared_variation=1.0)
    assert erlang_wait_share(stations=stations, utilisation=load) * those == pytest.approx(sakasegawa, rel=0.02)


def waits_at(*, stations: int, load: float) -> Numbers:
    """The waits that a visit draws at such a work centre."""
    row = ShopLoadRow(name="bench", utilisation=load, squared_variation=1.0, mean_job_h=1.0, **SAID)
    tables = {"calendar": week(), "work_centres": (centre(stations=stations),), "shop_load": (row,)}
    rates = Rates.model_construct(**dict.fromkeys(Rates.model_fields, ()) | tables)
    at = Waits(rates, WorkingCalendar(rates.calendar), date(2026, 11, 2), None).at("bench")
    assert at is not None
    return at.of(np.zeros(DATED), places_of("bench", "L1, polish 1"))


@pytest.mark.parametrize(("stations", "load", "p90"), [(2, 0.8, 4.90415)])
def test_nine_of_ten_wait_no_longer_than_the_mixture_says(stations: int, load: float, p90: float) -> None:
    # P(W > t) = C exp(-m (1 - rho) t): nobody waits with chance 1 - C, the others exponentially; M/M/m, from memory.
    waiting = erlang_wait_share(stations=stations, utilisation=load)
    rate = stations * (1 - load)
    assert brentq(lambda t: waiting * math.exp(-rate * t) - 0.1, 0, 100) == pytest.approx(p90, abs=1e-5)
    found = waits_at(stations=stations, load=load)
    density = 0.1 * rate
    assert quantile(np.sort(found), 0.9) == pytest.approx(p90, abs=sampling(0.9, density))
    assert np.mean(found == 0) == pytest.approx(1 - waiting, abs=WIDE * math.sqrt(waiting * (1 - waiting) / DATED))
    variance = waiting * (2 - waiting) / rate**2
    assert found.mean() == pytest.approx(waiting / rate, abs=WIDE * math.sqrt(variance / DATED))


def test_four_stations_wait_less_than_a_quarter_as_long_as_one() -> None:
    one, four = (float(waits_at(stations=stations, load=0.9).mean()) for stations in (1, 4))
    assert four < one / 4


@pytest.mark.parametrize(("working_days", "day"), [(5, date(2026, 12, 21)), (7, date(2026, 12, 23)), (8, date(2027, 1, 4))])
def test_working_days_across_the_closing_at_the_turn_of_the_year(working_days: int, day: date) -> None:
    # Counted by hand: closed from 24 December to 1 January, seven working days; the order on Monday, 14 December. After so many whole days the next begins.
    shut = CalendarRow(name="closed", holiday=date(2026, 12, 24), until=date(2027, 1, 1), **SAID)
    calendar = WorkingCalendar((*week(), shut))
    assert calendar.day_after_hours(date(2026, 12, 14), 8.0 * working_days + 1e-6) == day
    assert calendar.hours_between(date(2026, 12, 14), day) == 8.0 * working_days
