"""What rates keeps: every revision of every table, for ever. Nobody else reads these tables."""

from __future__ import annotations

import logging
from datetime import datetime

from pydantic import ValidationError

from services.chassis.database import Database
from services.chassis.version import VERSION
from services.rates.domain.needs import ColumnUnknown
from services.rates.domain.seed import seed_rates
from services.rates.store.repository import RateStore

log = logging.getLogger(__name__)

RIGHTS = dict.fromkeys(("table_versions", "revisions", "revision_tables"), "select, insert")
"""Tables that the role of this part may not do everything to: revisions are never changed."""


def furnish(database: Database, now: datetime) -> None:
    """Revision 1, the rates that the suite is delivered with, if there is no revision yet; otherwise what this release needs besides.

    Rates that cannot be completed keep nobody from starting: quotes that need what is missing fail, and `/readyz` says what that is.
    """
    store = RateStore(database)
    if store.latest_number() == 0:
        store.publish_first(seed_rates(), created_by="blankwright", reason="the rates that the suite is delivered with", now=now)
        return
    try:
        gaps = store.complete(release=VERSION, now=now)
    except (ColumnUnknown, ValidationError) as fault:
        log.error("the rates could not be completed for this release", extra={"release": VERSION, "why": str(fault)})
        return
    if gaps:
        missing = "; ".join(map(str, gaps))
        log.warning("rates added by this release; have an engineer confirm them", extra={"release": VERSION, "missing": missing})
