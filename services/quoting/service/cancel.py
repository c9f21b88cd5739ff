"""What is under way and no longer wanted: a quote, a batch, an impact, or a what-if. It is settled as cancelled, and no stage begins on it any more."""

from __future__ import annotations

import logging
from contextlib import suppress
from datetime import datetime

import redis

from services.chassis.keys import Caller
from services.chassis.pipeline import write_section
from services.chassis.problems import problem
from services.chassis.resources import Resources
from services.quoting.errors import NothingToCancel
from services.quoting.service.runs import admit
from services.quoting.store.batches import BatchStore
from services.quoting.store.blocks import digest_of
from services.quoting.store.impacts import IMPACT_RUNS, ImpactStore
from services.quoting.store.repository import QUOTE_RUNS, QuoteStore
from services.quoting.store.rows import Outcome, StoredQuote
from services.quoting.store.runs import Runs, RunTable
from services.quoting.store.what_ifs import WHAT_IF_RUNS, WhatIfStore

log = logging.getLogger(__name__)


def cancel_quote(number: str, revision: int | None, *, caller: Caller, now: datetime, resources: Resources) -> StoredQuote:
    """Cancel a revision of a quote that is under way; how it stands then. One that was cancelled stays so.

    Raises `QuoteUnknown`, `RevisionUnknown`, `NothingToCancel` for one that has another outcome.
    """
    store = QuoteStore(resources.database)
    row = store.quote(number, revision)
    if row.status == "accepted":
        _cancel(QUOTE_RUNS, "number", row.number, caller=caller, now=now, resources=resources, audited_as="quote.cancel")
        row = store.row(row.number)
    if row.status != "cancelled":
        raise NothingToCancel(f"Revision {row.revision} of quote {row.quote_number}", row.status)
    return row


def cancel_batch(number: str, *, caller: Caller, now: datetime, resources: Resources) -> None:
    """Cancel those quotes of a batch that have no outcome; raises `BatchUnknown`."""
    BatchStore(resources.database).batch(number)
    _cancel(QUOTE_RUNS, QUOTE_RUNS.group, number, caller=caller, now=now, resources=resources, audited_as="batch.cancel")


def cancel_impact(number: str, *, caller: Caller, now: datetime, resources: Resources) -> None:
    """Hold no more quotes against the proposal of an impact; raises `ImpactUnknown`."""
    ImpactStore(resources.database).impact(number)
    _cancel(IMPACT_RUNS, IMPACT_RUNS.group, number, caller=caller, now=now, resources=resources)


def cancel_what_if(number: str, *, caller: Caller, now: datetime, resources: Resources) -> None:
    """Work out no more copies of a what-if; raises `WhatIfUnknown`."""
    WhatIfStore(resources.database).what_if(number)
    _cancel(WHAT_IF_RUNS, WHAT_IF_RUNS.group, number, caller=caller, now=now, resources=resources)


def _cancel(
    table: RunTable, column: str, named: str, *, caller: Caller, now: datetime, resources: Resources, audited_as: str | None = None
) -> None:
    document = write_section(
        problem("cancelled", f"It was cancelled on {now:%Y-%m-%d %H:%M} UTC with the key {caller.key_id} ({caller.label}).")
    )
    outcome = Outcome("cancelled", digest_of(document), problem=document)
    cancelled = Runs(resources.database, table).cancel(column, named, outcome, now=now, audited_as=audited_as)
    # Where a stage works on it just now, its work is thrown away when it comes to the last station.
    with suppress(redis.RedisError):
        for number, attempt in cancelled:
            resources.travellers.discard(number, attempt)
    log.info("cancelled", extra={"what": named, "runs": len(cancelled), "key": caller.key_id})
    admit(now=now, resources=resources)
