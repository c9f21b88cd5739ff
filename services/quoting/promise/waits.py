"""How long an operation waits before a work centre: by its usual load, and by the book of load where there is one."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from services.optics.law import law
from services.quoting.risk.orders import DATED, dated_order
from services.shop.calendar import WorkingCalendar
from shared_schemas.load import LoadSnapshot, monday_of
from shared_schemas.rates import Rates, ShopLoadRow, WorkCentreRow

Numbers = npt.NDArray[np.float64]
Places = npt.NDArray[np.intp]

WEEKS_KNOWN = 13
"""So many weeks ahead the book knows part of the work that will be done; a quarter of a year (common practice range)."""
WEEKS_AHEAD = 26
"""The load is told apart week by week this far ahead; afterwards it is that of the last week."""
FULLEST = 0.95
"""Queues of chance are those of a work centre loaded no further than this, or than its usual load where that is more; booked work beyond
all hours of a week waits until there is room."""
SHARES = 200
"""Waits are told apart by so many equal shares of their distribution."""
SEEN_ALIKE = 0.9
"""In this share of the draws a visit meets the work centre in the state in which the other parts of the order meet it too: visits some hours apart find
queues with a correlation of 0.8 to 0.95 (simulated shops)."""


@law
def erlang_wait_share(*, stations: int, utilisation: float) -> float:
    """Share of jobs that find all stations busy and wait.

    Equation: 1 / (1 + (1 - utilisation) * stations * exp(utilisation * stations) * uppergamma(stations, utilisation * stations) / (utilisation * stations)**stations)
    Source: A. K. Erlang (1917), the formula called C; the sum as an incomplete gamma function. From memory.
    """
    offered = utilisation * stations
    if offered <= 0:
        return 0.0
    blocked = 1.0
    for busy in range(1, stations + 1):
        blocked = offered * blocked / (busy + offered * blocked)
    return blocked / (1 - utilisation * (1 - blocked))


@law
def wait_of_those_h(*, utilisation: float, stations: int, mean_job_h: float, squared_variation: float) -> float:
    """Mean wait of those jobs that wait [h]; how long they wait is exponential about it.

    Args:
        squared_variation: (c_a^2 + c_s^2) / 2, the mean of the squared coefficients of variation of arrivals and work.

    Equation: mean_job_h * squared_variation / (stations * (1 - utilisation))
    Source: M/M/m; for other variations A. O. Allen and J. B. Cunneen, from memory.
    """
    return mean_job_h * squared_variation / (stations * (1 - utilisation))


@law
def mean_wait_h(*, waiting_share: float, wait_of_those_h: float, unknown_share: float) -> float:
    """Mean time a job waits before a work centre [h]: those that find a station free do not, and only work that is not booked makes a queue of chance.

    Equation: unknown_share * waiting_share * wait_of_those_h
    """
    return unknown_share * waiting_share * wait_of_those_h


@law
def jobs_waiting(*, wait_h: float, jobs_per_h: float) -> float:
    """Mean number of jobs that wait.

    Equation: jobs_per_h * wait_h
    Source: J. D. C. Little (1961), from memory.
    """
    return jobs_per_h * wait_h


@law
def jobs_per_h(*, utilisation: float, stations: int, mean_job_h: float) -> float:
    """Jobs that come to a work centre in an hour [1/h].

    Equation: utilisation * stations / mean_job_h
    """
    return utilisation * stations / mean_job_h


@law
def known_share(*, weeks_ahead: float, weeks_known: float) -> float:
    """Share of the work of a week that is in the book already: all of this week's, none of that far ahead.

    Equation: max(0, 1 - weeks_ahead / weeks_known)
    """
    return max(0.0, 1 - weeks_ahead / weeks_known)


@law
def load_of_week(*, usual: float, booked_share: float, known_share: float, booked_h: float, capacity_h: float) -> float:
    """Share of the hours of a week that is taken: what is booked, and of the usual load what the book does not yet show.

    Args:
        usual: share usually taken; of it `booked_share` is work that the book shows by the time it is done.

    Equation: usual * (1 - booked_share * known_share) + booked_h / capacity_h
    """
    return usual * (1 - booked_share * known_share) + booked_h / capacity_h


@law
def load_of_queue(*, load: float, usual: float, fullest: float) -> float:
    """The load by which a queue of chance is worked out: booked work beyond it waits in its week, not in the queue.

    Equation: min(load, max(usual, fullest))
    """
    return min(load, max(usual, fullest))


@law
def beyond_h(*, before_h: float, load: float, capacity_h: float) -> float:
    """Hours of work that stand before the next week [h]: those before this one, and what its load is beyond its own hours.

    Equation: max(0, before_h + (load - 1) * capacity_h)
    """
    return max(0.0, before_h + (load - 1) * capacity_h)


@law
def job_h(*, mean_job_h: float, pace: float) -> float:
    """Hours of the calendar that a mean job takes [h] at a work centre whose stations work so many hours in one of the calendar.

    Equation: mean_job_h / pace
    """
    return mean_job_h / pace


@dataclass(frozen=True)
class Week:
    """One week of one work centre: where it begins [working hours from the order on], its load, and how long work beyond its hours keeps the next.

    `unknown_share` is how much of its usual load is not in the book: only that comes as it may, and makes a queue of chance.
    """

    ahead: int
    begins_h: float
    load: float
    unknown_share: float
    booked_h: float
    capacity_h: float
    behind_h: float


class InBook(NamedTuple):
    """Hours that the book holds in the weeks it is said to know, as far as they are of the usual work, and how many it should hold [h]."""

    held_h: float
    expected_h: float


@dataclass(frozen=True)
class CentreWaits:
    """Waits before one work centre: of jobs that come at `at_h`, shape (g,), the shares of the distribution, shape (g, 200)."""

    centre: WorkCentreRow
    row: ShopLoadRow
    pace: float
    """Hours that a station works in one of the calendar."""
    weeks: tuple[Week, ...]
    at_h: Numbers
    shares: Numbers

    @cached_property
    def _lines(self) -> tuple[Numbers, Numbers]:
        """Each share of the waits as a line between the beginnings of two weeks: where it meets hour 0, and its slope; after the last it is level."""
        apart_h = np.diff(self.at_h, append=np.inf)
        slopes = np.diff(self.shares, axis=0, append=self.shares[-1:]) / np.where(apart_h > 0, apart_h, np.inf)[:, None]
        return self.shares - slopes * self.at_h[:, None], slopes

    @property
    def in_book(self) -> InBook:
        """How much of its usual work the book holds, and how much it should."""
        expected = [self.row.utilisation * (1 - week.unknown_share) * week.capacity_h for week in self.weeks]
        held = [min(week.booked_h, hours) for week, hours in zip(self.weeks, expected, strict=True)]
        return InBook(sum(held), sum(expected))

    def of(self, at_h: Numbers, places: Places) -> Numbers:
        """How long a job waits that comes at `at_h` and meets those shares of the waits, in each draw; read between the beginnings of two weeks."""
        if len(self.at_h) == 1:
            return np.asarray(self.shares[0][places])
        at_zero, slopes = self._lines
        line = np.maximum(np.searchsorted(self.at_h, at_h, side="right") - 1, 0) * SHARES + places
        return np.asarray(at_zero.take(line) + at_h * slopes.take(line))


def _exponential_shares() -> Numbers:
    """Means of the equal shares of an exponential distribution of mean 1."""
    edge = np.linspace(0.0, 1.0, SHARES + 1)
    left = 1 - edge
    integral = edge + np.where(left > 0, left * np.log(np.where(left > 0, left, 1.0)), 0.0)
    return np.asarray(SHARES * np.diff(integral))


EXPONENTIAL = _exponential_shares()


class Waits:
    """The waits before every work centre of a shop, for an order of one day, by the book that it is dated by."""

    def __init__(self, rates: Rates, calendar: WorkingCalendar, begin: date, load: LoadSnapshot | None) -> None:
        self._rates, self._calendar, self._begin, self._load = rates, calendar, begin, load
        self._rows = rates.usual_load
        self._centres = {row.name: row for row in rates.places_of_work}
        self._known: dict[str, CentreWaits | None] = {}

    def at(self, centre: str) -> CentreWaits | None:
        """The waits before one work centre; `None` where nobody ever waits."""
        if centre not in self._known:
            self._known[centre] = self._worked_out(centre)
        return self._known[centre]

    @property
    def by_week(self) -> bool:
        """Whether it matters when a job comes: where there is no book one week is as the other."""
        return self._load is not None

    @cached_property
    def _booked(self) -> dict[str, tuple[float, ...]]:
        return self._load.booked_h() if self._load else {}

    @cached_property
    def _weeks(self) -> tuple[tuple[float, float], ...]:
        """When each week begins, in working hours from the order on, and its working hours."""
        monday = monday_of(self._begin)
        marks = [monday + timedelta(weeks=week) for week in range(WEEKS_AHEAD + 2)]
        before = [self._calendar.hours_between(self._begin, max(mark, self._begin)) for mark in marks]
        whole = [self._hours_of_week(ahead) for ahead in range(len(marks) - 1)]
        return tuple(zip(before[:-1], whole, strict=True))

    def _worked_out(self, name: str) -> CentreWaits | None:
        centre, row, booked = self._centres[name], self._rows.get(name), self._booked.get(name, ())
        if row is None or (row.utilisation == 0 and not any(booked)):
            return None
        pace = self._calendar.pace(centre.shifts)
        weeks = (
            self._loads(centre.stations * pace, row, booked) if self._load else [Week(0, 0.0, row.utilisation, 1.0, 0.0, 0.0, 0.0)]
        )
        shares = np.array([_shares(week, centre, row, pace) for week in weeks])
        at_h = np.array([week.begins_h for week in weeks])
        for place in range(1, len(weeks)):
            # Who comes first goes first: whoever comes later is not through before.
            np.maximum(shares[place], shares[place - 1] - (at_h[place] - at_h[place - 1]), out=shares[place])
        return CentreWaits(centre, row, pace, tuple(weeks), at_h, shares)

    def _loads(self, speed: float, row: ShopLoadRow, booked: tuple[float, ...]) -> list[Week]:
        """The load week by week; what goes beyond the hours of a week stands before the next, from the first week of the book on.

        Args:
            speed: hours that all stations work in one of the calendar.
        """
        assert self._load is not None
        first = self._load.week_of(self._begin)
        weeks: list[Week] = []
        over_h = 0.0
        for ahead in range(-max(first, 0), len(self._weeks)):
            begins_h, hours = self._weeks[ahead] if ahead >= 0 else (0.0, self._hours_of_week(ahead))
            there_h = hours * speed
            taken_h = booked[first + ahead] if 0 <= first + ahead < len(booked) else 0.0
            if there_h <= 0:
                over_h += taken_h
                continue
            share = known_share(weeks_ahead=float(max(ahead, 0)), weeks_known=float(WEEKS_KNOWN))
            load = load_of_week(
                usual=row.utilisation, booked_share=row.booked_share, known_share=share, booked_h=taken_h, capacity_h=there_h
            )
            if ahead >= 0:
                weeks.append(Week(ahead, begins_h, load, 1 - row.booked_share * share, taken_h, there_h, over_h / speed))
            over_h = beyond_h(before_h=over_h, load=load, capacity_h=there_h)
        return weeks

    def _hours_of_week(self, ahead: int) -> float:
        monday = monday_of(self._begin) + timedelta(weeks=ahead)
        return self._calendar.hours_between(monday, monday + timedelta(weeks=1))


def _shares(week: Week, centre: WorkCentreRow, row: ShopLoadRow, pace: float) -> Numbers:
    """The shares of the waits in one week: none for those that find a station free, exponential for the others.

    Notes: what is booked is known and stands in its week; it delays what comes by what goes beyond the hours of the weeks. A queue of
    chance is made by work that is not known: its share of the wait (calibrated against simulated shops).
    """
    load = load_of_queue(load=week.load, usual=row.utilisation, fullest=FULLEST)
    waiting = erlang_wait_share(stations=centre.stations, utilisation=load)
    if waiting <= 0:
        return np.full(SHARES, week.behind_h)
    those_h = wait_of_those_h(
        utilisation=load,
        stations=centre.stations,
        mean_job_h=job_h(mean_job_h=row.mean_job_h, pace=pace),
        squared_variation=row.squared_variation,
    )
    return np.asarray(week.behind_h + week.unknown_share * those_h * np.maximum(EXPONENTIAL + math.log(waiting), 0.0))


@lru_cache(maxsize=2048)
def places_of(centre: str, visit: str) -> Places:
    """Which share of the waits a visit meets in each draw, shape (1 000,).

    Notes: in most draws the one that the other parts of the order meet there too, as they come in the same weeks.
    """
    alike, own = dated_order(f"the state of {centre}"), dated_order(f"waits of {visit}")
    sees = dated_order(f"what {visit} sees") < SEEN_ALIKE * DATED
    return np.asarray(np.where(sees, alike, own) * SHARES // DATED, dtype=np.intp)


@lru_cache(maxsize=2048)
def turns_of(visit: str) -> Numbers:
    """The turn that a visit has among the other parts of its order at a work centre, 0 to 1 in each draw, shape (1 000,)."""
    return np.asarray((dated_order(f"turn of {visit}") + 0.5) / DATED)
