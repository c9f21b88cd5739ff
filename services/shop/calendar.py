"""Working days: which days have hours, and when so many working hours are over."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from itertools import accumulate

from services.shop.errors import NoWorkingDays
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import CalendarRow

ONE_DAY = timedelta(days=1)
HOURS_OF_A_DAY = 24.0
YEAR_DAYS = 366
DAYS_AHEAD = 210
"""So many days are counted once and looked up afterwards; most orders are done by then."""


class WorkingCalendar:
    """The shop's week and its holidays, with `more_hours` a day as a share. Raises `NoWorkingDays` when no weekday has hours."""

    def __init__(self, rows: Sequence[CalendarRow], *, more_hours: float = 0.0) -> None:
        self._hours = {row.weekday: min(row.hours * (1 + more_hours), HOURS_OF_A_DAY) for row in rows if row.weekday is not None}
        self._holidays = set(_closed_days(rows))
        self._last_holiday = max(self._holidays, default=date.min)
        if not any(hours > 0 for hours in self._hours.values()):
            raise NoWorkingDays
        self._hours_from: dict[date, list[float]] = {}

    @property
    def hours_per_week(self) -> float:
        """Working hours of a week without holidays [h]."""
        return sum(self._hours.values())

    def pace(self, shifts: int) -> float:
        """Hours that a station of so many shifts works in one of the calendar, in the mean of a week; a day has no more than 24 in all shifts."""
        return sum(min(hours * shifts, HOURS_OF_A_DAY) for hours in self._hours.values()) / self.hours_per_week

    def hours_of(self, day: date) -> float:
        """Working hours of one day [h], 0 on a holiday."""
        return 0.0 if day in self._holidays else self._hours.get(day.weekday(), 0.0)

    def day_after_hours(self, begin: date, hours: float) -> date:
        """The day on which `hours` of work [h], begun at the start of `begin`, are done (the next working day for 0).

        Raises:
            FigureOutOfRange: more hours than there are until the year 9999.
        """
        over = self._hours_over(begin)
        if hours <= over[-1]:
            return begin + timedelta(days=bisect_left(over, hours) if hours > 0 else bisect_right(over, 0.0))
        day, left = begin + timedelta(days=len(over)), hours - over[-1]
        try:
            while True:
                available = self.hours_of(day)
                if available > 0 and left <= available:
                    return day
                left -= available
                day += ONE_DAY
                if day > self._last_holiday and left > 2 * self.hours_per_week:
                    weeks = int(left // self.hours_per_week) - 1
                    day, left = day + timedelta(weeks=weeks), left - weeks * self.hours_per_week
        except OverflowError:
            raise FigureOutOfRange("path of working hours", round(hours), "over before the year 9999") from None

    def hours_between(self, begin: date, end: date) -> float:
        """Working hours from the start of one day until the start of another [h]; none where that is not later."""
        days = (end - begin).days
        if days <= 0:
            return 0.0
        over = self._hours_over(begin)
        if days <= len(over):
            return over[days - 1]
        far = begin + timedelta(days=len(over))
        return over[-1] + sum(self.hours_of(far + timedelta(days=day)) for day in range((end - far).days))

    def _hours_over(self, begin: date) -> list[float]:
        """Working hours from a day until the end of each of the days from it on [h]; counted once for each day.

        Raises:
            NoWorkingDays: nobody works within a year from that day.
        """
        if begin not in self._hours_from:
            if not any(self.hours_of(begin + timedelta(days=day)) for day in range(min(YEAR_DAYS, (date.max - begin).days + 1))):
                raise NoWorkingDays(begin)
            ahead = min(DAYS_AHEAD, (date.max - begin).days + 1)
            self._hours_from[begin] = list(accumulate(self.hours_of(begin + timedelta(days=day)) for day in range(ahead)))
        return self._hours_from[begin]


def _closed_days(rows: Sequence[CalendarRow]) -> Iterator[date]:
    """Holidays, and every day of a shutdown."""
    for row in rows:
        if row.holiday is not None:
            last = max(row.until or row.holiday, row.holiday)
            yield from (row.holiday + timedelta(days=day) for day in range((last - row.holiday).days + 1))
