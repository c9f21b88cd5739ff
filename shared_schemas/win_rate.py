"""How many of the quotes that were decided were won, by price against cost, by customer and by month. No price and no cost stands in it."""

from __future__ import annotations

from datetime import date
from typing import Literal

from shared_schemas.base import Contract
from shared_schemas.quote import DeclineReason

WonBy = Literal["markup", "customer", "month"]
Reason = DeclineReason | Literal["not_said"]
BAND_PERCENT = 10
HIGHEST_BAND_PERCENT = 200
"""Prices are put together by tens of per cent over cost; all that are above this are in one band, and so are those below cost."""
MOST_CUSTOMERS = 100


class DecidedQuotes(Contract):
    """Quotes that were decided, and how they went. `low` and `high` are the interval of the share that was won, 95 in 100 (Wilson)."""

    name: str
    decided: int
    accepted: int
    declined: int
    expired: int
    declined_because: dict[Reason, int]
    win_share: float | None = None
    low: float | None = None
    high: float | None = None


class DecidedAtMarkup(DecidedQuotes):
    """Quotes whose price was so many per cent over what they cost: from `from_percent` on, below `to_percent`."""

    from_percent: int | None = None
    to_percent: int | None = None


class WinRate(Contract):
    """How many quotes were won. A quote counts once, whatever its revisions; `open` ones are left out and counted.

    `without_markup` are decided quotes whose figures are archived, `unread` those that are taken in when asked again: both are in all
    but `by_markup`. `left_out` has how many customers there are beyond those given.
    """

    since: date | None = None
    until: date | None = None
    open: int
    without_markup: int
    unread: int
    method: str
    whole: DecidedQuotes
    by_markup: tuple[DecidedAtMarkup, ...]
    by_customer: tuple[DecidedQuotes, ...]
    by_month: tuple[DecidedQuotes, ...]
    left_out: int
