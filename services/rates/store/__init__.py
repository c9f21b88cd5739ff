"""What rates keeps: every revision of every table, for ever. Nobody else reads these tables."""

from __future__ import annotations

from datetime import datetime

from services.chassis.database import Database
from services.rates.domain.seed import seed_rates
from services.rates.store.repository import RateStore

RIGHTS = dict.fromkeys(("table_versions", "revisions", "revision_tables"), "select, insert")
"""Tables that the role of this part may not do everything to: revisions are never changed."""


def furnish(database: Database, now: datetime) -> None:
    """Revision 1, the rates that the suite is delivered with, if there is no revision yet."""
    store = RateStore(database)
    if store.latest_number() == 0:
        store.publish_first(seed_rates(), created_by="blankwright", reason="the rates that the suite is delivered with", now=now)
