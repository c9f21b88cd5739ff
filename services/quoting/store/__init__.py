"""What quoting keeps: requests, outcomes, the outbox, idempotency keys, dead letters. Nobody else reads these tables."""

from __future__ import annotations

from datetime import datetime

from services.chassis.database import Database


def furnish(database: Database, now: datetime) -> None:
    """Nothing needs to be there before the first quote."""
