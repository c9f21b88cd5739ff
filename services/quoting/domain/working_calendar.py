"""Working days: which days have hours, and when so many working hours are over."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from services.quoting.errors import FigureOutOfRange, NoWorkingDays
from shared_schemas.rates import CalendarRow

ONE_DAY = timedelta(days=1)


class WorkingCalendar:
    """The shop's week and its holidays. Raises `NoWorkingDays` when no weekday has hours."""

    def __init__(self, rows: Sequence[CalendarRow]) -> None:
        self._hours = {row.weekday: row.hours for row in rows if row.weekday is not None}
        self._holidays = {row.holiday for row in rows if row.holiday is not None}
        self._last_holiday = max(self._holidays, default=date.min)
        if not any(hours > 0 for hours in self._hours.values()):
            raise NoWorkingDays

    @property
    def hours_per_week(self) -> float:
        """Working hours of a week without holidays [h]."""
        return sum(self._hours.values())

    def hours_of(self, day: date) -> float:
        """Working hours of one day [h], 0 on a holiday."""
        return 0.0 if day in self._holidays else self._hours.get(day.weekday(), 0.0)

    def day_after_hours(self, begin: date, hours: float) -> date:
        """The day on which `hours` of work [h], begun at the start of `begin`, are done (the next working day for 0).

        Raises:
            FigureOutOfRange: more hours than there are until the year 9999.
        """
        day, left = begin, hours
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
