"""How orders end, in PostgreSQL: what one has booked is free again, and there is an event of it, all in one transaction."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime

from sqlalchemy import Connection, text

from services.chassis import audit
from services.chassis.database import Database
from services.orders.errors import OrderEnded
from services.orders.store.actuals import standing_in
from services.orders.store.events import insert_event
from services.orders.store.repository import StoredOrder, free_bookings, lock_book, order_in, publish_book
from shared_schemas.actuals import Actual
from shared_schemas.base import canonical_json
from shared_schemas.order_events import OrderCancellation

Settle = Callable[[StoredOrder, Mapping[str, Actual]], OrderCancellation]
"""Says what cancelling an order comes to beside what was reported of it, or raises, and then it is not cancelled."""


class Endings:
    """Ends of orders. One that has ended stays as it is: telling it again changes nothing, and the other way it is refused."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def complete(self, number: str, *, key_id: str, now: datetime) -> StoredOrder:
        """An order is made. Raises `OrderUnknown`, and `OrderEnded` for one that was cancelled."""
        with self._database.transaction() as connection:
            lock_book(connection)
            found = order_in(connection, number, lock=True)
            if found.state == "cancelled":
                raise OrderEnded(number, found.state, "completed")
            if found.state == "booked":
                _free(connection, number, "completed", None, key_id=key_id, now=now)
                insert_event(connection, "completed", number, found.order.revision, at=now)
                audit.record(connection, action="order.complete", subject=number, at=now)
            return order_in(connection, number)

    def cancel(self, number: str, settle: Settle, *, key_id: str, now: datetime) -> StoredOrder:
        """An order is wanted no longer. Raises `OrderUnknown`, `OrderEnded` for one that is completed, and what `settle` raises."""
        with self._database.transaction() as connection:
            lock_book(connection)
            found = order_in(connection, number, lock=True)
            if found.state == "completed":
                raise OrderEnded(number, found.state, "cancelled")
            if found.state == "booked":
                settled = settle(found, standing_in(connection, [number]).get(number, {}))
                _free(connection, number, "cancelled", canonical_json(settled), key_id=key_id, now=now)
                insert_event(connection, "cancelled", number, found.order.revision, at=now, cancellation=settled)
                details = {"by": settled.by, "reason": settled.reason, "charge": str(settled.charge)}
                audit.record(connection, action="order.cancel", subject=number, at=now, details=details)
            return order_in(connection, number)


def _free(connection: Connection, number: str, state: str, ending: bytes | None, *, key_id: str, now: datetime) -> None:
    connection.execute(
        text("update orders.orders set state = :state, state_at = :now, key_id = :key, ending = :ending where number = :number"),
        {"state": state, "now": now, "key": key_id, "ending": ending, "number": number},
    )
    free_bookings(connection, number)
    publish_book(connection, now)
