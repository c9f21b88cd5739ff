"""The feed of job estimates: what happened to each, in the order in which it happened. An entry never changes."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from shared_schemas.base import Contract
from shared_schemas.order_events import OrderCancellation, Rescheduling
from shared_schemas.problem import OnlyWhereSaid
from shared_schemas.quote import QuoteDecision

EntryType = Literal["ready", "accepted", "declined", "expired", "superseded", "cancelled", "rescheduled", "withdrawn", "expiring"]


class EstimateEntry(Contract):
    """One entry of the feed. `id` is its place in the feed within an `epoch`; a restored backup begins another.

    `at` is when it happened, and `decision` the decision on the revision at that moment, `None` where there was none. An acceptance whose
    decision has a `change` takes the place of the order of an earlier revision. Of an order that was cancelled `cancellation` says by whom
    and at what charge, of one that moved to another day `rescheduled` from which to which. `withdrawn` says that the decision, as it
    stands in the entry, was recorded by mistake and is taken back, `expiring` that the last day of an open quote is near.
    """

    id: int
    epoch: str
    type: EntryType
    at: datetime
    number: str
    quote_number: str
    revision: int
    title: str
    customer: str
    finished_at: datetime
    decision: QuoteDecision | None = None
    cancellation: Annotated[OrderCancellation | None, OnlyWhereSaid] = None
    rescheduled: Annotated[Rescheduling | None, OnlyWhereSaid] = None


class EstimatePage(Contract):
    """A page of the feed, oldest first; `next` is the cursor to go on from (also for what comes later)."""

    items: tuple[EstimateEntry, ...]
    next: str | None = None
