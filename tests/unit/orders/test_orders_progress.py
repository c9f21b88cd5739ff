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


def test_what_was_planned_to_overlap_is_not_late_by_that() -> None:
    """Batches move on as they are done: the second begins before the first ends."""
    lapped = order(("curve generator", 8.0, MONDAY, MONDAY + 4 * DAY), ("polishing spindles", 8.0, MONDAY + DAY, MONDAY + 6 * DAY))
    progress = progress_of(lapped, {}, today=MONDAY + DAY)
    assert (progress.late, progress.days_late, progress.forecast_ship_date) == (0, 0, lapped.ship_date)
    pushed = progress_of(lapped, {"operation-1": done("operation-1", MONDAY + 7 * DAY)}, today=MONDAY + 7 * DAY)
    assert pushed.operations[1].expected_end == MONDAY + 9 * DAY


def test_what_is_not_reported_is_late_from_the_day_after_its_planned_end_on() -> None:
    assert [progress_of(planned(), {}, today=MONDAY + days * DAY).late for days in (0, 1, 2)] == [0, 0, 1]


def test_a_part_that_is_late_pushes_what_it_is_put_into_and_one_with_days_to_spare_does_not() -> None:
    plain = order(
        ("curve generator", 8.0, MONDAY, MONDAY + DAY), ("curve generator", 8.0, MONDAY, MONDAY + 5 * DAY),
        ("cementing bench", 2.0, MONDAY + 5 * DAY, MONDAY + 7 * DAY),
    )  # fmt: skip
    parts = ("L1", "L2", "doublet")
    made = plain.model_copy(
        update={
            "operations": tuple(one.model_copy(update={"part": part}) for one, part in zip(plain.operations, parts, strict=True)),
            "consumes": {"doublet": ("L1", "L2")},
        }
    )
    spare = progress_of(made, {"operation-1": done("operation-1", MONDAY + 4 * DAY)}, today=MONDAY + 4 * DAY)
    assert ([one.late for one in spare.operations], spare.days_late) == ([True, False, False], 0)
    behind = progress_of(made, {"operation-2": done("operation-2", MONDAY + 8 * DAY)}, today=MONDAY + 8 * DAY)
    assert (behind.operations[2].expected_end, behind.days_late) == (MONDAY + 10 * DAY, 3)
    unknown = progress_of(
        made.model_copy(update={"consumes": {}}), {"operation-1": done("operation-1", MONDAY + 4 * DAY)}, today=MONDAY + 4 * DAY
    )
    assert unknown.days_late == 3, "where it is not known what waits for it, it may be the whole order"


def test_the_price_paid_counts_before_minutes_and_an_order_without_costs_has_none() -> None:
    plain = planned()
    first = plain.operations[0].model_copy(update={"cost": Decimal("80.00")})
    priced = plain.model_copy(update={"operations": (first, plain.operations[1]), "currency": "EUR"})
    by_minutes = {"operation-1": Actual(operation="operation-1", setup_min=60.0, run_min=540.0)}
    paid = {"operation-1": Actual(operation="operation-1", run_min=540.0, price_paid=Decimal("77.70"))}
    assert progress_of(priced, by_minutes, today=MONDAY).cost_so_far == Decimal("100.00")
    assert progress_of(priced, paid, today=MONDAY).cost_so_far == Decimal("77.70")
    assert progress_of(plain, by_minutes, today=MONDAY).cost_so_far == 0
