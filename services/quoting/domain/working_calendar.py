"""Working days: which days have hours, and when so many working hours are over."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from services.quoting.errors import NoWorkingDays
from shared_schemas.rates import CalendarRow

ONE_DAY = timedelta(days=1)


class WorkingCalendar:
    """The shop's week and its holidays. Raises `NoWorkingDays` when no weekday has hours."""

    def __init__(self, rows: Sequence[CalendarRow]) -> None:
        self._hours = {row.weekday: row.hours for row in rows if row.weekday is not None}
        self._holidays = {row.holiday for row in rows if row.holiday is not None}
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
        """The day on which `hours` of work [h], begun at the start of `begin`, are done (the next working day for 0)."""
        day, left = begin, hours
        while True:
            available = self.hours_of(day)
            if available > 0 and left <= available:
                return day
            left -= available
            day += ONE_DAY
