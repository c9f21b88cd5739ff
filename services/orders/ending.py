"""What whoever ends an order is answered: what it costs to cancel it, and what has become of it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from services.chassis.between_services import ring
from services.chassis.resources import Resources
from services.orders.domain.cancelling import charge_of
from services.orders.errors import CancellationCosts, OrderUnknown
from services.orders.stage import take_over
from services.orders.store.endings import Endings
from services.orders.store.repository import StoredOrder
from shared_schemas.actuals import Actual
from shared_schemas.order_events import CancellationRequest, OrderCancellation
from shared_schemas.pipeline import TAKE_IN_TASK


def cancel(number: str, asked: CancellationRequest | None, *, key_id: str, now: datetime, resources: Resources) -> StoredOrder:
    """Cancel an order by its terms; one that was cancelled stays as it was. An order that was accepted a moment ago is taken over first.

    Raises `OrderUnknown`, `OrderEnded` for one that is completed, `CancellationCosts` where it costs something and that was not agreed to.
    """

    def settle(stored: StoredOrder, actuals: Mapping[str, Actual]) -> OrderCancellation:
        charge = charge_of(stored.order, actuals, today=now.date())
        agreed = asked.agreed_charge if asked is not None else None
        terms = stored.order.cancellation
        if terms is not None and charge.amount > (agreed or 0):
            raise CancellationCosts(
                number, charge.amount, stored.order.currency, work_share=charge.work_share, free_until=terms.free_until, agreed=agreed
            )  # fmt: skip
        said = {} if asked is None else asked.model_dump(include={"by", "reason", "note"})
        return OrderCancellation(
            at=now, key_id=key_id, work_share=charge.work_share, charge=charge.amount, currency=stored.order.currency, **said
        )

    endings = Endings(resources.database)
    try:
        ended = endings.cancel(number, settle, key_id=key_id, now=now)
    except OrderUnknown:
        take_over(resources)
        ended = endings.cancel(number, settle, key_id=key_id, now=now)
    ring(TAKE_IN_TASK, number, resources)
    return ended


def complete(number: str, *, key_id: str, now: datetime, resources: Resources) -> StoredOrder:
    """An order is made; raises `OrderUnknown`, and `OrderEnded` for one that was cancelled."""
    ended = Endings(resources.database).complete(number, key_id=key_id, now=now)
    ring(TAKE_IN_TASK, number, resources)
    return ended
