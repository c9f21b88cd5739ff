"""What rates keeps: every revision of every table, for ever. Nobody else reads these tables."""

from __future__ import annotations

from datetime import datetime

from services.chassis.database import Database
from services.rates.domain.seed import seed_rates
from services.rates.store.repository import RateStore


def furnish(database: Database, now: datetime) -> None:
    """Revision 1, the rates that the suite is delivered with, if there is no revision yet."""
    store = RateStore(database)
    if store.latest_number() == 0:
        store.publish_first(seed_rates(), created_by="blankwright", reason="the rates that the suite is delivered with", now=now)
