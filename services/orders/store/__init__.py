"""What orders keeps: accepted orders, what they and the ERP have booked, every snapshot of the book. Nobody else reads these tables."""

from __future__ import annotations

from datetime import datetime

from services.chassis.database import Database
from services.orders.store.repository import BookStore


def furnish(database: Database, now: datetime) -> None:
    """Snapshot 1, the empty book, if there is no snapshot yet."""
    BookStore(database).publish_first(now=now)
