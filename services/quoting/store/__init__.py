"""What quoting keeps: requests, outcomes, the outbox, idempotency keys, dead letters. Nobody else reads these tables."""

from __future__ import annotations

from datetime import datetime

from services.chassis.database import Database

RIGHTS = {
    "quotes": "select, insert, update",
    # A failed outcome alone makes room for another; a trigger keeps every other from being deleted. How its documents lie may change.
    "outcomes": "select, insert, delete, "
    "update (body, blanks, operations, packing, packed, body_bytes, blanks_bytes, operations_bytes, archived_in)",
    # A decline alone may go, and a trigger lets it only where it is kept as undone.
    "decisions": "select, insert, delete",
    "undone_decisions": "select, insert",
    "approvals": "select, insert",
    "handovers": "select, insert",
    "feed_entries": "select, insert",
    "order_events_taken": "select, update",
    "order_ends": "select, insert",
    "dead_letters": "select, insert, update, delete",
}
"""Tables that the role of this part may not do everything to."""


def furnish(database: Database, now: datetime) -> None:
    """Nothing needs to be there before the first quote."""
