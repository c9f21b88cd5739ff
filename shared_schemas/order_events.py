"""What becomes of an order after its acceptance: on which terms it is cancelled, and the events of which the service that keeps it tells the others."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Literal

from pydantic import Field

from shared_schemas.base import NO_CONTROLS, Contract, Money, NonNegativeMoney, Share
from shared_schemas.problem import OnlyWhereSaid

CancelReason = Literal["no_longer_needed", "changed", "date", "price", "quality", "ordered_twice", "other"]
RescheduleCause = Literal["change_order", "work_reported"]
OrderEventType = Literal["cancelled", "completed", "rescheduled"]


class CancellationTerms(Contract):
    """On which terms an order is cancelled: until `free_until`, that day counted in, for nothing; later for a share of `price`.

    That share is what of the work is done, and at least `minimum_share`. `price` is what is payable, tools included.
    """

    free_until: date
    minimum_share: Share
    price: NonNegativeMoney


class CancellationRequest(Contract):
    """Who cancels an order, and why. Where that costs something, `agreed_charge` is what the customer pays at most: with less nothing is cancelled, and the answer names the charge."""

    by: Annotated[str, Field(min_length=1, max_length=200, pattern=NO_CONTROLS)]
    reason: CancelReason = "other"
    note: Annotated[str, Field(max_length=2000, pattern=NO_CONTROLS)] = ""
    agreed_charge: NonNegativeMoney | None = None


class OrderCancellation(Contract):
    """That an order was cancelled: by whom, with which key and why, and what it costs the customer.

    `work_share` is the share of the work that was done by then. `charge` is in `currency`; orders of before there were terms have none.
    """

    at: datetime
    by: str = ""
    key_id: str = ""
    reason: CancelReason = "other"
    note: str = ""
    work_share: Annotated[Share | None, OnlyWhereSaid] = None
    charge: Money
    currency: str = ""


class Rescheduling(Contract):
    """That the day on which an order is expected to ship moved: by a change order, or by what was reported of its work."""

    old_date: date
    new_date: date
    cause: RescheduleCause


class OrderEvent(Contract):
    """One event of an order in the revision that was accepted. `id` rises and never repeats; who has read up to one misses none."""

    id: int
    epoch: str
    type: OrderEventType
    at: datetime
    order: str
    revision: int
    cancellation: Annotated[OrderCancellation | None, OnlyWhereSaid] = None
    rescheduled: Annotated[Rescheduling | None, OnlyWhereSaid] = None


class OrderEventPage(Contract):
    """Events after an id, oldest first."""

    items: tuple[OrderEvent, ...]
