"""Hours into weeks: none is lost, none finds no room where there is some, and the same book gives the same bytes."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, date, datetime, timedelta
from xml.etree import ElementTree

import pytest

from services.orders.domain.book import Capacity, booked_in, hours_of, last_week_of, ticks_of
from services.orders.domain.chart import chart_of
from services.orders.domain.loading import fill
from services.orders.domain.snapshot import Booking, digest_of, orders_in, snapshot_of
from services.orders.errors import BookingsRefused
from services.orders.service import centre_weeks, checked
from services.rates.domain.seed import seed_rates
from shared_schemas.load import AcceptedOrder, ForeignBooking, LoadPut, OrderOperation, monday_of
from shared_schemas.rates import CalendarRow, Rates

MONDAY = date(2026, 11, 2)
NOW = datetime(2026, 11, 2, 12, tzinfo=UTC)


def order(*operations: tuple[str, float, date, date], number: str = "Q-2026-000001") -> AcceptedOrder:
    return AcceptedOrder(
        quote_number=number, revision=1, quantity=25, accepted_at=NOW, quoted_ship_date=date(2027, 1, 8), ship_date=date(2027, 1, 11),
        operations=tuple(
            OrderOperation(sequence=place, part="L1", operation="polish", work_centre=centre, hours=hours, begins=begins, ends=ends)
            for place, (centre, hours, begins, ends) in enumerate(operations, start=1)
        ),
    )  # fmt: skip


@pytest.fixture(scope="module")
def rates() -> Rates:
    return seed_rates()


@pytest.fixture(scope="module")
def capacity(rates: Rates) -> Capacity:
    return Capacity(rates)


def test_hours_are_spread_over_the_weeks_in_which_an_operation_runs(capacity: Capacity) -> None:
    booked = booked_in(capacity, order(("polishing spindles", 30.0, MONDAY, MONDAY + timedelta(days=10))), {}, first_week=MONDAY)
    weeks = [hours_of(booked["polishing spindles", MONDAY + timedelta(weeks=number)]) for number in range(2)]
    assert sum(weeks) == pytest.approx(30.0)
    assert weeks[0] == pytest.approx(30 * 39 / (39 + 32)), "39 hours of a week, and 32 from Monday to Thursday"


def test_what_finds_no_room_goes_on_to_the_next_week(capacity: Capacity, rates: Rates) -> None:
    there = capacity.ticks("optical centring", MONDAY)
    assert hours_of(there) == 39.0
    taken = {("optical centring", MONDAY): there - ticks_of(5.0)}
    booked = booked_in(capacity, order(("optical centring", 12.0, MONDAY, MONDAY)), taken, first_week=MONDAY)
    assert {week: hours_of(ticks) for (_, week), ticks in booked.items()} == {MONDAY: 5.0, MONDAY + timedelta(weeks=1): 7.0}


def test_a_closed_week_takes_nothing(capacity: Capacity) -> None:
    closed = date(2026, 12, 28)
    assert capacity.ticks("curve generator", closed) == 0
    booked = booked_in(capacity, order(("curve generator", 4.0, closed, closed + timedelta(days=2))), {}, first_week=MONDAY)
    assert {week for _, week in booked} == {date(2027, 1, 4)}


def test_all_hours_are_booked_even_beyond_the_end_of_the_book_and_at_a_centre_that_is_gone(capacity: Capacity) -> None:
    endless = order(("optical centring", 50_000.0, MONDAY, MONDAY), ("a machine that was sold", 3.0, MONDAY, MONDAY))
    booked = booked_in(capacity, endless, {}, first_week=MONDAY)
    assert sum(booked.values()) == ticks_of(50_003.0)
    assert booked["a machine that was sold", MONDAY] == ticks_of(3.0)


def test_work_is_filled_in_from_the_earliest_slot_on() -> None:
    assert fill(8, [4, 0, 3, 9], earliest=0).taken == {0: 4, 2: 3, 3: 1}
    assert fill(8, [4, 0, 3, 9], earliest=2).taken == {2: 3, 3: 5}
    assert fill(99, [4, 0, 3, 9], earliest=0).taken == {0: 4, 2: 3, 3: 92}, "what finds no room at all stands in the last slot"
    assert fill(8, [4, 0, 3, 9], earliest=9).taken == {3: 8}
    assert fill(0, [4, 0], earliest=1).taken == {1: 0}


def test_what_is_expected_beyond_the_end_of_the_book_stands_in_its_last_week(capacity: Capacity) -> None:
    last = last_week_of(MONDAY)
    far = date.max - timedelta(days=9)
    late = order(("optical centring", 50.0, far, date.max), ("a machine that was sold", 3.0, last + timedelta(weeks=1), far))
    booked = booked_in(capacity, late, {}, first_week=MONDAY)
    assert booked == {("optical centring", last): ticks_of(50.0), ("a machine that was sold", last): ticks_of(3.0)}
    held = [Booking("accepted", late.quote_number, *key, ticks) for key, ticks in booked.items()]
    assert snapshot_of(held, first_week=MONDAY, number=1, now=NOW).booked_h()["optical centring"][-1] == 50.0
    earlier = snapshot_of(held, first_week=MONDAY - timedelta(weeks=2), number=1, now=NOW)
    assert earlier.booked_h()["optical centring"][-1] == 50.0, "by a clock that was set back nothing is lost either"


def test_what_was_expected_in_a_week_that_is_over_is_booked_from_this_week_on(capacity: Capacity) -> None:
    late = order(("optical centring", 12.0, MONDAY - timedelta(days=20), MONDAY - timedelta(days=9)))
    taken = {("optical centring", MONDAY): ticks_of(30.0)}
    booked = booked_in(capacity, late, taken, first_week=MONDAY)
    assert {week: hours_of(ticks) for (_, week), ticks in booked.items()} == {MONDAY: 9.0, MONDAY + timedelta(weeks=1): 3.0}


def test_shifts_give_more_hours_up_to_the_whole_day(rates: Rates) -> None:
    in_shifts = {shifts: with_shifts(rates, shifts).ticks("optical centring", MONDAY) for shifts in (1, 2, 3)}
    assert {shifts: hours_of(ticks) for shifts, ticks in in_shifts.items()} == {1: 39.0, 2: 78.0, 3: 117.0}
    long_days = tuple(row.model_copy(update={"hours": 10.0}) if row.hours else row for row in rates.calendar)
    assert hours_of(with_shifts(rates.model_copy(update={"calendar": long_days}), 3).ticks("optical centring", MONDAY)) == 5 * 24.0


def with_shifts(rates: Rates, shifts: int) -> Capacity:
    rows = tuple(row.model_copy(update={"shifts": shifts}) for row in rates.work_centres)
    return Capacity(rates.model_copy(update={"work_centres": rows}))


def test_a_shutdown_of_years_moves_work_to_its_end_and_breaks_nothing(rates: Rates) -> None:
    told = {"source": "made for a test", "as_of": MONDAY}
    years = tuple(
        CalendarRow(name=f"shutdown {year}", holiday=date(year, 1, 1), until=date(year, 12, 31), **told) for year in (2027, 2028)
    )
    shut = Capacity(rates.model_copy(update={"calendar": rates.calendar + years}))
    booked = booked_in(shut, order(("optical centring", 4.0, date(2027, 2, 1), date(2027, 3, 1))), {}, first_week=MONDAY)
    assert {week: hours_of(ticks) for (_, week), ticks in booked.items()} == {date(2029, 1, 1): 4.0}
    assert len(centre_weeks(snapshot_of([], first_week=MONDAY, number=1, now=NOW), shut.rates, first_week=MONDAY, weeks=52)) == 40


def bookings() -> list[Booking]:
    return [
        Booking(source, name, centre, MONDAY + timedelta(weeks=week), ticks_of(1.5 + week), date(2027, 1, 8))
        for source in ("accepted", "the ERP")
        for name in ("Q-2026-000002", "Q-2026-000001")
        for centre in ("polishing spindles", "coating chamber")
        for week in (0, 2)
    ]


def test_the_same_book_gives_the_same_bytes_whoever_booked_first() -> None:
    there, back = (snapshot_of(held, first_week=MONDAY, number=7, now=NOW) for held in (bookings(), bookings()[::-1]))
    assert there.model_dump_json() == back.model_dump_json()
    assert there.digest == digest_of(MONDAY, there.orders)
    assert [one.order for one in there.orders] == sorted(one.order for one in there.orders)
    assert there.booked_h()["coating chamber"] == (6.0, 0.0, 14.0)


def test_an_order_ships_on_the_last_day_that_its_bookings_name_in_whatever_order_they_come() -> None:
    rows = [
        Booking("the ERP", "4711", "bevel bench", MONDAY + timedelta(weeks=week), 60_000, ships)
        for week, ships in enumerate((date(2027, 1, 8), None, date(2027, 2, 5), date(2027, 1, 4)))
    ]
    assert {one.ship_date for held in (rows, rows[::-1]) for one in orders_in(held, first_week=MONDAY)} == {date(2027, 2, 5)}


def test_a_digest_can_be_worked_out_from_what_a_snapshot_says() -> None:
    said = json.loads(snapshot_of(bookings(), first_week=MONDAY, number=7, now=NOW).model_dump_json())
    digest = said.pop("digest")
    del said["number"], said["made_at"]
    assert hashlib.sha256(json.dumps(said, separators=(",", ":")).encode()).hexdigest() == digest


def test_weeks_that_are_over_are_not_in_a_snapshot() -> None:
    later = orders_in(bookings(), first_week=MONDAY + timedelta(weeks=1))
    assert all(centre.booked_h == (0.0, 3.5) for one in later for centre in one.work_centres)


def test_free_and_booked_hours_are_all_hours(rates: Rates) -> None:
    snapshot = snapshot_of(bookings(), first_week=MONDAY, number=1, now=NOW)
    found = {one.work_centre: one for one in centre_weeks(snapshot, rates, first_week=MONDAY, weeks=4)}
    spindles = found["polishing spindles"]
    assert [week.booked_h for week in spindles.weeks] == [6.0, 0.0, 14.0, 0.0]
    assert spindles.weeks[0].capacity_h == 6 * 39
    assert all(week.free_h + week.booked_h == week.capacity_h for week in spindles.weeks)
    a_week_on = {one.work_centre: one for one in centre_weeks(snapshot, rates, first_week=MONDAY + timedelta(weeks=2), weeks=1)}
    assert a_week_on["polishing spindles"].weeks[0].booked_h == 14.0


def test_the_chart_names_every_work_centre_and_hatches_what_is_full(rates: Rates) -> None:
    full = [Booking("the ERP", "4711", "optical centring", MONDAY, ticks_of(39.0))]
    found = centre_weeks(snapshot_of(full, first_week=MONDAY, number=1, now=NOW), rates, first_week=MONDAY, weeks=3)
    chart = chart_of(found, first_week=MONDAY.isoformat())
    assert all(f">{row.name}<" in chart for row in rates.work_centres)
    assert chart.count('height="18.0" fill="url(#full)"') == 1
    assert [text for text in texts_of(chart) if text in ("2", "9", "16", "Nov 2026")] == ["Nov 2026", "2", "9", "16"]


def texts_of(chart: str) -> list[str]:
    return [str(one.text) for one in ElementTree.fromstring(chart).iter() if one.tag.endswith("text")]


def test_the_chart_rounds_nothing_to_full_and_nothing_to_empty_that_is_not(rates: Rates) -> None:
    hours = {"optical centring": (38.9, 0.1, 39.0), "bevel bench": (0.0, 30.0, 0.4)}
    held = [
        Booking("the ERP", "4711", name, MONDAY + timedelta(weeks=week), ticks_of(one))
        for name, weeks in hours.items() for week, one in enumerate(weeks)
    ]  # fmt: skip
    only = rates.model_copy(update={"work_centres": tuple(row for row in rates.work_centres if row.name in hours)})
    found = centre_weeks(snapshot_of(held, first_week=MONDAY, number=1, now=NOW), only, first_week=MONDAY, weeks=3)
    texts = texts_of(chart_of(found, first_week=MONDAY.isoformat()))
    assert texts[texts.index("optical centring") + 1 :][:3] == ["99", "< 1", "100"]
    assert texts[texts.index("bevel bench") + 1 :][:3] == ["0", "38", "1"]


def test_a_chart_of_names_with_signs_of_markup_and_of_closed_weeks_can_be_read(rates: Rates) -> None:
    odd = Booking("the ERP", "4711", 'bench <1> & "2"', date(2026, 12, 28), 60_000)
    found = centre_weeks(snapshot_of([odd], first_week=date(2026, 12, 28), number=1, now=NOW), rates, first_week=odd.week, weeks=1)
    texts = texts_of(chart_of(found, first_week="2026-12-28"))
    assert texts[texts.index(odd.work_centre) + 1] == "no hours"
    assert texts.count("closed") == len(rates.work_centres)
    assert len(texts_of(chart_of((), first_week="2026-12-28"))) == 4, "an empty book has a heading and a key"


def put(*rows: tuple[str, date, float], source: str = "the ERP") -> LoadPut:
    return LoadPut(
        source=source,
        bookings=tuple(ForeignBooking(order="4711", work_centre=name, week=week, hours=hours) for name, week, hours in rows),
    )


def test_a_booking_of_any_day_is_one_of_its_week_and_two_of_one_week_add_up(capacity: Capacity) -> None:
    asked = put(("optical centring", MONDAY + timedelta(days=3), 4.0), ("optical centring", MONDAY, 5.0))
    (one,) = checked(asked, capacity, {}, today=MONDAY)
    assert (one.week, hours_of(one.ticks)) == (MONDAY, 9.0)


@pytest.mark.parametrize(
    ("row", "pointer", "reason"),
    [
        (("optical centering", MONDAY, 1.0), "/bookings/1/work_centre", "no such work centre"),
        (("optical centring", MONDAY - timedelta(days=1), 1.0), "/bookings/1/week", "is over"),
        (("optical centring", MONDAY + timedelta(weeks=400), 1.0), "/bookings/1/week", "beyond the book"),
        (("optical centring", MONDAY, 38.0), "/bookings/1/hours", "beyond all its hours"),
    ],
)
def test_a_booking_that_cannot_be_is_named(row: tuple[str, date, float], pointer: str, reason: str, capacity: Capacity) -> None:
    with pytest.raises(BookingsRefused) as caught:
        checked(put(("optical centring", MONDAY, 2.0), row), capacity, {}, today=MONDAY)
    (fault,) = caught.value.errors
    assert fault.pointer == pointer
    assert reason in fault.reason
    if "centering" in str(fault.figure):
        assert fault.remedy == "did you mean optical centring?"


def test_what_others_have_taken_counts_against_the_hours_of_a_week(capacity: Capacity) -> None:
    taken = {("optical centring", MONDAY): ticks_of(30.0)}
    checked(put(("optical centring", MONDAY, 9.0)), capacity, taken, today=MONDAY)
    with pytest.raises(BookingsRefused):
        checked(put(("optical centring", MONDAY, 9.5)), capacity, taken, today=MONDAY)
    with pytest.raises(BookingsRefused, match="own"):
        checked(put(source="accepted"), capacity, {}, today=MONDAY)


def test_the_week_of_a_day_begins_on_its_monday() -> None:
    assert {monday_of(MONDAY + timedelta(days=day)) for day in range(7)} == {MONDAY}
