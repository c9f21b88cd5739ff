"""The hours of an order in weeks: spread over the time of each operation, and on to the next week where one is full.

Hours are kept in ticks of a thousandth of a minute, whole numbers, so that what is booked adds up exactly.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from services.orders.domain.loading import fill
from services.shop.calendar import WorkingCalendar
from shared_schemas.load import MOST_WEEKS, AcceptedOrder, OrderOperation, monday_of
from shared_schemas.rates import Rates

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


@dataclass
class Capacity:
    """What each work centre can do in each week by its rates: stations, shifts, and the hours of the calendar."""

    rates: Rates

    def __post_init__(self) -> None:
        self._calendar = WorkingCalendar(self.rates.calendar)
        self._centres = {row.name: row for row in self.rates.work_centres}
        self._hours: dict[date, float] = {}

    def knows(self, centre: str) -> bool:
        """Whether the rates have that work centre."""
        return centre in self._centres

    @property
    def centres(self) -> tuple[str, ...]:
        """The work centres in the order of the rates."""
        return tuple(self._centres)

    def working_h(self, monday: date) -> float:
        """Working hours of the calendar in a week [h]."""
        if monday not in self._hours:
            self._hours[monday] = self._calendar.hours_between(monday, monday + ONE_WEEK)
        return self._hours[monday]

    def ticks(self, centre: str, monday: date) -> int:
        """All hours of a work centre in a week; none of one that the rates do not have."""
        row = self._centres.get(centre)
        return ticks_of(self.working_h(monday) * row.stations * row.shifts) if row else 0

    def days_in_weeks(self, begins: date, ends: date) -> dict[date, float]:
        """Working hours between two days, both counted in, by the week in which they lie; the first week alone where there are none."""
        shares: dict[date, float] = {}
        week = monday_of(begins)
        while week <= ends:
            first, last = max(begins, week), min(ends + timedelta(days=1), week + ONE_WEEK)
            if hours := self._calendar.hours_between(first, last):
                shares[week] = hours
            week += ONE_WEEK
        return shares or {monday_of(begins): 1.0}


def booked_in(capacity: Capacity, order: AcceptedOrder, taken: Ticks) -> dict[tuple[str, date], int]:
    """What an order takes of each work centre in each week, beside what others have `taken`.

    Notes:
        The hours of an operation are spread evenly over the working hours between the days it begins and ends; what finds no
        room in a week goes on to the next, and beyond the end of the book into its last week. All hours are booked. A work
        centre that the rates no longer have is booked where it was expected.
    """
    booked: dict[tuple[str, date], int] = {}
    for operation in order.operations:
        for week, ticks in _spread(operation, capacity).items():
            for slot, amount in _with_room(operation.work_centre, week, ticks, capacity, taken, booked).items():
                key = (operation.work_centre, slot)
                booked[key] = booked.get(key, 0) + amount
    return booked


def _spread(operation: OrderOperation, capacity: Capacity) -> dict[date, int]:
    """Ticks of an operation by week, in proportion to its working hours there; the sum is all of them."""
    shares = capacity.days_in_weeks(operation.begins, max(operation.begins, operation.ends))
    whole, rest = sum(shares.values()), ticks_of(operation.hours)
    spread: dict[date, int] = {}
    left = whole
    for week, share in shares.items():
        here = rest if share >= left else round(rest * share / left)
        spread[week], rest, left = here, rest - here, left - share
    return spread


def _with_room(
    centre: str, week: date, ticks: int, capacity: Capacity, taken: Ticks, own: Ticks
) -> dict[date, int]:  # fmt: skip
    if not ticks:
        return {}
    if not capacity.knows(centre):
        return {week: ticks}
    free = [
        capacity.ticks(centre, slot) - taken.get((centre, slot), 0) - own.get((centre, slot), 0)
        for slot in (week + number * ONE_WEEK for number in range(MOST_WEEKS))
    ]
    return {week + slot * ONE_WEEK: amount for slot, amount in fill(ticks, free, earliest=0).taken.items()}
