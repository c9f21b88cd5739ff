"""The law of the book: what is booked is what the accepted orders take, after any mix of accepting, cancelling and completing."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from services.orders.domain.book import Capacity, booked_in, hours_of, last_week_of, ticks_of
from services.orders.domain.snapshot import Booking, orders_in, snapshot_of
from services.quoting.promise.waits import Waits
from services.rates.domain.seed import seed_rates
from services.shop.calendar import WorkingCalendar
from shared_schemas.load import added_up
from tests.unit.orders.test_orders_book import MONDAY, order

CENTRES = ("optical centring", "polishing spindles", "a machine that was sold")
CAPACITY = Capacity(seed_rates())

operations = st.lists(
    st.tuples(
        st.sampled_from(CENTRES), st.floats(0, 200), st.integers(-30, 2_500).map(lambda days: MONDAY + timedelta(days=days)), st.integers(0, 30)
    ).map(lambda one: (one[0], one[1], one[2], one[2] + timedelta(days=one[3]))),
    min_size=1,
    max_size=6,
)  # fmt: skip


class BookOfLoad(RuleBasedStateMachine):
    """Orders come and end in any order; the model beside the book is a list of the hours of those that stand."""

    def __init__(self) -> None:
        super().__init__()
        self.book: dict[str, dict[tuple[str, date], int]] = {}
        self.hours: dict[str, dict[str, int]] = {}
        self.count = 0

    def taken(self) -> dict[tuple[str, date], int]:
        whole: dict[tuple[str, date], int] = {}
        for weeks in self.book.values():
            for key, ticks in weeks.items():
                whole[key] = whole.get(key, 0) + ticks
        return whole

    @rule(work=operations)
    def accept(self, work: list[tuple[str, float, date, date]]) -> None:
        self.count += 1
        name = f"Q-2026-{self.count:06d}"
        self.book[name] = booked_in(CAPACITY, order(*work, number=name), self.taken(), first_week=MONDAY)
        self.hours[name] = {centre: sum(ticks_of(one[1]) for one in work if one[0] == centre) for centre in CENTRES}

    @rule(which=st.integers(0, 20))
    def end(self, which: int) -> None:
        if self.book:
            name = sorted(self.book)[which % len(self.book)]
            del self.book[name], self.hours[name]

    @invariant()
    def booked_hours_are_those_of_the_orders(self) -> None:
        for centre in CENTRES:
            booked = sum(ticks for (name, _), ticks in self.taken().items() if name == centre)
            assert booked == sum(hours[centre] for hours in self.hours.values())

    @invariant()
    def no_week_is_fuller_than_it_has_hours_unless_the_book_ends(self) -> None:
        for (centre, week), ticks in self.taken().items():
            if CAPACITY.knows(centre):
                assert ticks <= CAPACITY.ticks(centre, week) or week == last_week_of(MONDAY)

    @invariant()
    def the_snapshot_has_all_of_it(self) -> None:
        held = [Booking("accepted", name, *key, ticks) for name, weeks in self.book.items() for key, ticks in weeks.items()]
        whole = added_up(one for load in orders_in(held, first_week=MONDAY) for one in load.work_centres)
        for centre, weeks in whole.items():
            assert round(sum(weeks), 6) == round(hours_of(sum(hours[centre] for hours in self.hours.values())), 6)


TestBookOfLoad = BookOfLoad.TestCase
TestBookOfLoad.settings = settings(max_examples=25, stateful_step_count=20, deadline=None)


@pytest.mark.parametrize("day_h", [7.0, 8.0, 10.0, 13.0])
@pytest.mark.parametrize("shifts", [1, 2, 3])
def test_a_week_has_as_many_hours_for_the_book_as_for_a_date(day_h: float, shifts: int) -> None:
    rates = seed_rates()
    days = tuple(row.model_copy(update={"hours": day_h}) if row.hours else row for row in rates.calendar)
    centres = tuple(row.model_copy(update={"shifts": shifts}) for row in rates.work_centres)
    shop = rates.model_copy(update={"calendar": days, "work_centres": centres})
    book = snapshot_of([], first_week=MONDAY, number=1, now=datetime(2026, 11, 2, tzinfo=UTC))
    waits = Waits(shop, WorkingCalendar(shop.calendar), MONDAY, book).at("curve generator")
    assert waits is not None
    capacity = Capacity(shop)
    for week in waits.weeks[:8]:
        booked = hours_of(capacity.ticks("curve generator", MONDAY + timedelta(weeks=week.ahead)))
        assert week.capacity_h == pytest.approx(booked, abs=0.001)
        assert booked <= 2 * 24 * 5
