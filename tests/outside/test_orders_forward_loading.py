"""Finite forward loading against a worked example: capable to promise, day by day.

Source: the definition of capable-to-promise in the APICS dictionary (S. R. Pittman, J. B. Atwater, eds., 15th ed., 2016), from memory;
the figures of the example were worked out by hand.
"""

from __future__ import annotations

from datetime import date

from services.orders.domain.loading import fill_in_turn
from services.shop.calendar import WorkingCalendar
from shared_schemas.rates import CalendarRow

HOURS = {"generate": 7, "polish": 14, "centre": 7, "coat": 8}
BOOKED = {
    "generate": [7, 5, 3, 3],
    "polish": [14, 14, 14, 10, 10, 12, 6],
    "centre": [4] * 8 + [3] * 4,
    "coat": [8] * 9,
}
JOB = [("generate", 6), ("polish", 20), ("centre", 5), ("coat", 8)]
DAYS = 30


def free(booked: dict[str, list[int]]) -> dict[str, list[int]]:
    return {
        centre: [hours - (booked.get(centre, [])[day] if day < len(booked.get(centre, [])) else 0) for day in range(DAYS)]
        for centre, hours in HOURS.items()
    }


def test_a_loaded_shop_takes_the_job_where_there_is_room() -> None:
    generate, polish, centre, coat = fill_in_turn(JOB, free(BOOKED))
    assert generate.taken == {1: 2, 2: 4}
    assert polish.taken == {3: 4, 4: 4, 5: 2, 6: 8, 7: 2}
    assert centre.taken == {8: 4, 9: 1}
    assert (coat.first, coat.last) == (10, 10)


def test_an_empty_shop_takes_it_at_once() -> None:
    filled = fill_in_turn(JOB, free({}))
    assert [(one.first, one.last) for one in filled] == [(0, 0), (1, 2), (3, 3), (4, 4)]


def test_the_days_counted_out_on_a_calendar_with_a_closure() -> None:
    said = {"source": "made for a test", "as_of": date(2026, 11, 2)}
    week = [CalendarRow(name=f"day {day}", weekday=day, hours=8.0 if day < 5 else 0.0, **said) for day in range(7)]
    shut = CalendarRow(name="closure", holiday=date(2026, 12, 24), until=date(2027, 1, 1), **said)
    calendar, begin = WorkingCalendar([*week, shut]), date(2026, 12, 14)
    assert calendar.day_after_hours(begin, 8.0 * (10 + 1)) == date(2027, 1, 6), "day 10 in the loaded shop"
    assert calendar.day_after_hours(begin, 8.0 * (4 + 1)) == date(2026, 12, 18), "day 4 in the empty one"
    assert [calendar.day_after_hours(begin, 8.0 * days + 0.01) for days in (5, 7, 8)] == [
        date(2026, 12, 21), date(2026, 12, 23), date(2027, 1, 4)
    ]  # fmt: skip
