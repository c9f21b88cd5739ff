"""How ready the rates are to be quoted from: how much money rests on rows that are invented or stale, largest first."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated

from pydantic import Field

from shared_schemas.base import Contract, Currency, Money
from shared_schemas.rate_row import Origin

MOST_ROWS_TOLD = 200


class MoneyOfOrigin(Contract):
    """Money that rests on rows of one origin; without an origin the row is no longer there, or never was one of the rates."""

    origin: Origin | None
    rows: int
    money: Money
    share: float


class MoneyOfTable(Contract):
    """Money that rests on the rows of one table, and what of it on invented and on stale ones."""

    table: str
    review_days: int
    rows: int
    money: Money
    share: float
    invented: Money
    stale: Money


class RowToMakeReady(Contract):
    """A row that is invented, stale or both, with the money that rests on it, and what would do."""

    table: str
    row: str
    origin: Origin
    document: str
    as_of: date
    age_days: int
    stale: bool
    money: Money
    share: float
    what_to_do: str


class RowsUnused(Contract):
    """Rows on which no money rests: how many of a table are invented, and how many stale."""

    table: str
    invented: int
    stale: int


class RateReadiness(Contract):
    """What the prices of quotes rest on, each at its middle quantity, in the base currency.

    `by_origin` and `by_table` each add up to `total`, which is that of all the quotes. `quotes_untold` were made before it was noted what a
    quote rests on. `rows` are those to make ready, the largest first, at most 200 of `rows_to_make_ready`; the others are in `unused`, which
    counts those that no quote rests on.
    """

    rate_revision: int
    at: datetime
    currency: Currency
    quotes: int
    quotes_untold: int
    total: Money
    by_origin: tuple[MoneyOfOrigin, ...]
    stale: Money
    stale_share: float
    by_table: tuple[MoneyOfTable, ...]
    rows_to_make_ready: int
    rows: Annotated[tuple[RowToMakeReady, ...], Field(max_length=MOST_ROWS_TOLD)]
    unused: tuple[RowsUnused, ...]
