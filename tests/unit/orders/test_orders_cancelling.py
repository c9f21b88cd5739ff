"""What it costs to cancel an order: nothing in its first days, later what is done of it, and never less than its terms say."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from services.orders.domain.cancelling import charge_of, work_share
from shared_schemas.actuals import Actual
from shared_schemas.load import AcceptedOrder
from shared_schemas.order_events import CancellationTerms
from tests.unit.orders.test_orders_book import MONDAY, order

DAY = timedelta(days=1)
BEGUN = {"operation-1": Actual(operation="operation-1", run_min=30.0)}


def ordered() -> AcceptedOrder:
    """Operations of 800.00 and 200.00 EUR that begin on Monday and Thursday; free until Tuesday, then a tenth of 2000.00 at least."""
    plain = order(("curve generator", 8.0, MONDAY, MONDAY + DAY), ("polishing spindles", 8.0, MONDAY + 3 * DAY, MONDAY + 5 * DAY))
    costs = (Decimal("800.00"), Decimal("200.00"))
    operations = tuple(one.model_copy(update={"cost": cost}) for one, cost in zip(plain.operations, costs, strict=True))
    terms = CancellationTerms(free_until=MONDAY + DAY, minimum_share=0.1, price=Decimal("2000.00"))
    return plain.model_copy(update={"operations": operations, "currency": "EUR", "cancellation": terms})


@pytest.mark.parametrize(("days", "charge"), [(0, "0"), (1, "0"), (2, "1600.00"), (3, "1600.00"), (4, "2000.00")], ids=str)
def test_where_nothing_was_reported_the_work_is_done_that_was_booked_to_have_begun(days: int, charge: str) -> None:
    assert charge_of(ordered(), {}, today=MONDAY + days * DAY).amount == Decimal(charge)


def test_what_was_reported_counts_before_what_was_booked_and_whole_once_it_was_begun() -> None:
    later = MONDAY + 30 * DAY
    assert work_share(ordered(), BEGUN, today=later) == 0.8
    assert charge_of(ordered(), BEGUN, today=later).amount == Decimal("1600.00")
    assert charge_of(ordered(), BEGUN, today=MONDAY + DAY).amount == 0, "it is free for as long as the terms say, whatever was done"


def test_an_order_of_which_little_is_done_costs_the_least_share_to_the_cent() -> None:
    terms = CancellationTerms(free_until=MONDAY - DAY, minimum_share=0.15, price=Decimal("1234.57"))
    later = ordered().model_copy(update={"cancellation": terms})
    assert str(charge_of(later, {}, today=MONDAY).amount) == "185.19", "185.1855"


def test_hours_weigh_where_costs_are_not_known_and_an_order_without_terms_is_free() -> None:
    plain = order(("curve generator", 6.0, MONDAY, MONDAY), ("polishing spindles", 2.0, MONDAY + DAY, MONDAY + DAY))
    assert work_share(plain, BEGUN, today=MONDAY) == 0.75
    assert charge_of(plain, BEGUN, today=MONDAY + 99 * DAY).amount == 0
    assert work_share(order(), {}, today=MONDAY) == 0.0
