"""The hours of an order in weeks: spread over the time of each operation, and on to the next week where one is full.

Hours are kept in ticks of a thousandth of a minute, whole numbers, so that what is booked adds up exactly.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

from services.orders.domain.loading import fill
from services.shop.calendar import WorkingCalendar
from shared_schemas.load import MOST_WEEKS, AcceptedOrder, OrderOperation, monday_of
from shared_schemas.rates import Rates, WorkCentreRow

TICKS_PER_H = 60_000
ONE_WEEK = timedelta(weeks=1)

Ticks = Mapping[tuple[str, date], int]
"""Ticks by work centre and Monday."""


def ticks_of(hours: float) -> int:
    """Hours as a whole number of ticks."""
    return round(hours * TICKS_PER_H)


def hours_of(ticks: int) -> float:
    """Ticks as hours [h]."""
    return ticks / TICKS_PER_H


def last_week_of(first_week: date) -> date:
    """The Monday of the last week of a book that begins with a week."""
    return first_week + (MOST_WEEKS - 1) * ONE_WEEK


@dataclass
class Capacity:
    """What each work centre can do in each week by its rates: stations, shifts, and the hours of the calendar."""

    rates: Rates
    _calendars: dict[int, WorkingCalendar] = field(default_factory=dict, init=False)
    _ticks: dict[tuple[str, date], int] = field(default_factory=dict, init=False)
    _centres: dict[str, WorkCentreRow] = field(default_factory=dict, init=False)

    def __post_init__(self) -> None:
        self._centres.update((row.name, row) for row in self.rates.work_centres)

    def knows(self, centre: str) -> bool:
        """Whether the rates have that work centre."""
        return centre in self._centres

    @property
    def centres(self) -> tuple[str, ...]:
        """The work centres in the order of the rates."""
        return tuple(self._centres)

    def ticks(self, centre: str, monday: date) -> int:
        """All hours of a work centre in a week; none of one that the rates do not have."""
        key = (centre, monday)
        if key not in self._ticks:
            row = self._centres.get(centre)
            self._ticks[key] = ticks_of(row.stations * self.hours_between(monday, monday + ONE_WEEK, row.shifts)) if row else 0
        return self._ticks[key]

    def hours_between(self, begin: date, end: date, shifts: int = 1) -> float:
        """Working hours of one station from the start of a day until the start of another [h]; a day has no more than 24 in all shifts."""
        if shifts not in self._calendars:
            self._calendars[shifts] = WorkingCalendar(self.rates.calendar, more_hours=shifts - 1)
        calendar = self._calendars[shifts]
        return sum(calendar.hours_of(begin + timedelta(days=day)) for day in range((end - begin).days))

    def shares_of_weeks(self, begins: date, ends: date) -> dict[date, float]:
        """Working hours between two days, both counted in, by the week in which they lie; the first week alone where there are none."""
        shares: dict[date, float] = {}
        week = monday_of(begins)
        while week <= ends:
            if hours := self.hours_between(max(begins, week), min(ends + timedelta(days=1), week + ONE_WEEK)):
                shares[week] = hours
            week += ONE_WEEK
        return shares or {monday_of(begins): 1.0}


def booked_in(capacity: Capacity, order: AcceptedOrder, taken: Ticks, *, first_week: date) -> dict[tuple[str, date], int]:
    """What an order takes of each work centre in each week of a book that begins with a week, beside what others have `taken`.

    Notes:
        The hours of an operation are spread evenly over the working hours between the days it begins and ends; what finds no
        room in a week goes on to the next, and beyond the end of the book into its last week. Nothing is worked in a week that is
        over: what was expected then is booked from the first week on. All hours are booked. A work centre that the rates
        do not have is booked where it was expected.
    """
    booked: dict[tuple[str, date], int] = {}
    for operation in order.operations:
        for week, ticks in _spread(operation, capacity, first_week).items():
            for slot, amount in _with_room(operation.work_centre, week, ticks, capacity, taken, booked, first_week).items():
                key = (operation.work_centre, slot)
                booked[key] = booked.get(key, 0) + amount
    return booked


def _spread(operation: OrderOperation, capacity: Capacity, first_week: date) -> dict[date, int]:
    """Ticks of an operation by week, in proportion to its working hours there; the sum is all of them."""
    last_day = last_week_of(first_week) + timedelta(days=6)
    begins = min(max(operation.begins, first_week), last_day)
    shares = capacity.shares_of_weeks(begins, min(max(begins, operation.ends), last_day))
    left, rest = sum(shares.values()), ticks_of(operation.hours)
    *earlier, last = shares
    spread: dict[date, int] = {}
    for week in earlier:
        spread[week] = round(rest * shares[week] / left)
        rest, left = rest - spread[week], left - shares[week]
    return {**spread, last: rest}


def _with_room(
    centre: str, week: date, ticks: int, capacity: Capacity, taken: Ticks, own: Ticks, first_week: date
) -> dict[date, int]:  # fmt: skip
    if not ticks:
        return {}
    if not capacity.knows(centre):
        return {week: ticks}
    weeks = (first_week + number * ONE_WEEK for number in range((week - first_week).days // 7, MOST_WEEKS))
    free = (capacity.ticks(centre, slot) - taken.get((centre, slot), 0) - own.get((centre, slot), 0) for slot in weeks)
    return {week + slot * ONE_WEEK: amount for slot, amount in fill(ticks, free, earliest=0).taken.items()}
