"""The list of quotes: each once, by the revision by which it stands."""

from __future__ import annotations

from datetime import date, datetime
from operator import not_
from typing import Annotated, Literal

from pydantic import Field

from shared_schemas.base import Contract, Currency, Money
from shared_schemas.problem import OnlyWhereSaid
from shared_schemas.quote import QuoteState, QuoteStatus

FollowUp = Literal["expiring", "waiting"]
"""Open quotes that want somebody: their last day is near, or the customer has not answered for long."""


class ListedPrice(Contract):
    """What a quantity costs each, and in all."""

    quantity: int
    unit_price: Money
    total_price: Money


class QuoteSummary(Contract):
    """One line of the list of quotes.

    `revision` is the one by which the quote stands: the last that was accepted, else the latest. `latest_revision` is told where there is a
    later one. `asked_by` is the name of the key that asked for it; `decided_by` who said what the customer decided, and `decided_at` when.
    """

    number: str
    revision: int
    latest_revision: Annotated[int | None, OnlyWhereSaid] = None
    status: QuoteStatus
    state: QuoteState | None = None
    valid_until: date | None = None
    customer: str
    reference: Annotated[str, Field(exclude_if=not_)] = ""
    title: str
    created_at: datetime
    asked_by: Annotated[str, Field(exclude_if=not_)] = ""
    currency: Annotated[Currency | None, OnlyWhereSaid] = None
    prices: Annotated[tuple[ListedPrice, ...], Field(exclude_if=not_)] = ()
    decided_by: Annotated[str, Field(exclude_if=not_)] = ""
    decided_at: Annotated[datetime | None, OnlyWhereSaid] = None


class QuotePage(Contract):
    """A page of quotes, newest first; `next` is the cursor of the next page.

    `unread` is how many quotes cannot be searched yet; they are taken in meanwhile, so that asking again finds them.
    """

    items: tuple[QuoteSummary, ...]
    next: str | None = None
    unread: Annotated[int, Field(exclude_if=not_)] = 0
