"""How far an order is: what is late moves its date, what is early does not, and what was paid counts before minutes."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from services.orders.domain.progress import progress_of
from shared_schemas.actuals import Actual
from shared_schemas.load import AcceptedOrder
from tests.unit.orders.test_orders_book import MONDAY, order

DAY = timedelta(days=1)


def planned() -> AcceptedOrder:
    """Two operations, the second two days after the first is to end."""
    return order(("curve generator", 8.0, MONDAY, MONDAY + DAY), ("polishing spindles", 8.0, MONDAY + 3 * DAY, MONDAY + 5 * DAY))


def done(name: str, day: date) -> Actual:
    return Actual(operation=name, run_min=480.0, finished_at=datetime(day.year, day.month, day.day, 15, tzinfo=UTC))


def test_an_order_of_which_nothing_is_late_ships_as_promised() -> None:
    progress = progress_of(planned(), {}, today=MONDAY)
    assert (progress.late, progress.forecast_ship_date) == (0, planned().ship_date)


def test_an_operation_that_was_late_is_made_up_for_by_the_days_between() -> None:
    progress = progress_of(planned(), {"operation-1": done("operation-1", MONDAY + 3 * DAY)}, today=MONDAY + 3 * DAY)
    assert [one.late for one in progress.operations] == [True, False]
    assert progress.forecast_ship_date == planned().ship_date


def test_what_is_late_beyond_them_moves_the_date_by_as_many_days() -> None:
    progress = progress_of(planned(), {"operation-1": done("operation-1", MONDAY + 7 * DAY)}, today=MONDAY + 7 * DAY)
    assert progress.operations[1].expected_end == MONDAY + 9 * DAY
    assert progress.forecast_ship_date == planned().ship_date + 4 * DAY


def test_what_is_early_brings_nothing_forward() -> None:
    actuals = {f"operation-{place}": done(f"operation-{place}", MONDAY) for place in (1, 2)}
    progress = progress_of(planned(), actuals, today=MONDAY)
    assert (progress.done, progress.late, progress.forecast_ship_date) == (2, 0, planned().ship_date)


def test_what_was_begun_and_is_not_done_is_not_done_before_today() -> None:
    begun = {"operation-1": Actual(operation="operation-1", run_min=30.0)}
    progress = progress_of(planned(), begun, today=MONDAY + 4 * DAY)
    assert (progress.operations[0].state, progress.operations[0].expected_end) == ("begun", MONDAY + 4 * DAY)
    assert progress.operations[0].late


def test_the_price_paid_counts_before_minutes_and_an_order_without_costs_has_none() -> None:
    plain = planned()
    first = plain.operations[0].model_copy(update={"cost": Decimal("80.00")})
    priced = plain.model_copy(update={"operations": (first, plain.operations[1]), "currency": "EUR"})
    by_minutes = {"operation-1": Actual(operation="operation-1", setup_min=60.0, run_min=540.0)}
    paid = {"operation-1": Actual(operation="operation-1", run_min=540.0, price_paid=Decimal("77.70"))}
    assert progress_of(priced, by_minutes, today=MONDAY).cost_so_far == Decimal("100.00")
    assert progress_of(priced, paid, today=MONDAY).cost_so_far == Decimal("77.70")
    assert progress_of(plain, by_minutes, today=MONDAY).cost_so_far == 0
