"""What orders keeps: accepted orders, what they and the ERP have booked, what was reported of them, every snapshot of the book. Nobody else reads these tables."""

from __future__ import annotations

from datetime import datetime

from services.chassis.database import Database
from services.orders.store.repository import BookStore

RIGHTS = {
    "orders": "select, insert, update",
    # A trigger keeps all from being deleted but those that are long over.
    "snapshots": "select, insert, delete",
    "taken_over": "select, update",
    "events": "select, insert",
    "actuals": "select, insert",
    "actual_requests": "select, insert",
}
"""Tables that the role of this part may not do everything to: snapshots are never changed, and no order is ever deleted."""


def furnish(database: Database, now: datetime) -> None:
    """Snapshot 1, the empty book, if there is no snapshot yet."""
    BookStore(database).publish_first(now=now)
