"""What a proposed rate table would do to open quotes, before it is published; no quote is touched."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from shared_schemas.base import Contract, Currency, Fault, Name, refuse_if_any
from shared_schemas.problem import Problem
from shared_schemas.quote_life import ComparedAmount, ComparedCount
from shared_schemas.rates import TABLES

MOST_QUOTES = 500
USUAL_QUOTES = 50
MOST_ROWS = 5000

ImpactOutcome = Literal["working", "ready", "refused", "failed", "cancelled"]


class RateProposal(Contract):
    """A table that was looked at as a change of it is, and kept beside the revisions. It is never in force.

    `number` is below zero, where no revision is; `digest` is the one that the next revision would have if the table were
    published on `base_revision`.
    """

    number: Annotated[int, Field(lt=0)]
    base_revision: int
    table: str
    digest: str
    created_at: datetime
    created_by: str


class ImpactChoice(Contract):
    """Which table a proposal is for, and which open quotes are held against it: those named, or the newest `most`."""

    table: Name
    most: Annotated[int, Field(strict=True, ge=1, le=MOST_QUOTES)] = USUAL_QUOTES
    quotes: Annotated[tuple[Name, ...], Field(min_length=1, max_length=MOST_QUOTES)] | None = None

    @model_validator(mode="after")
    def _a_table_there_is_and_each_quote_once(self) -> ImpactChoice:
        faults = []
        if self.table not in TABLES:
            faults.append(
                Fault(
                    "table",
                    reason="there is no such table",
                    figure=self.table,
                    limit=None,
                    remedy=f"one of {', '.join(TABLES)}",
                )
            )
        named = self.quotes or ()
        faults += [
            Fault("quotes", place, reason="the quote is named twice", figure=number, limit="each once", remedy="leave it out here")
            for place, number in enumerate(named)
            if number in named[:place]
        ]
        refuse_if_any(self, faults)
        return self


class RateImpactRequest(ImpactChoice):
    """What an engineer would publish: all rows of a table, as for a change of it."""

    rows: Annotated[tuple[dict[str, Any], ...], Field(min_length=1, max_length=MOST_ROWS)]


class RateImpactAccepted(Contract):
    """The answer to a proposal: the number of its impact, how many quotes it is worked out for, and where to look."""

    number: str
    status: Literal["working", "done"]
    quotes: int
    links: dict[str, str]


class KeptPrice(Contract):
    """What becomes of an order at the price as issued: at the rates of the quote, and at those proposed.

    The margin is what the price leaves over cost, overhead, contingency and tools spread over the order, as a share of
    it; below zero it does not even cover them. The loss chance is that cost and overhead pass the price.
    """

    margin_share_issued: float
    margin_share_proposed: float
    loss_chance_issued: float | None = None
    loss_chance_proposed: float | None = None


class ImpactedBreak(Contract):
    """One quantity: as issued (`old`), and with the proposed table (`new`). `share` is the rise of the unit price, as a share of it."""

    quantity: int
    unit_price: ComparedAmount
    share: float
    total_price: ComparedAmount
    unit_cost: ComparedAmount
    price_kept: KeptPrice
    p50_days: ComparedCount
    p90_days: ComparedCount


class ImpactFigures(Contract):
    """What a proposal does to one quote; `tooling` is the sum of the charges for tools that are asked once."""

    currency: Currency
    breaks: tuple[ImpactedBreak, ...]
    tooling: ComparedAmount


class ImpactedQuote(Contract):
    """One quote of an impact, as it was issued. `problem` says why the lens is refused with the proposed table, or what broke.

    Only where the quote was `issued_at_base` is every difference that of the proposal; otherwise other tables have
    changed since too.
    """

    place: int
    number: str
    revision: int
    customer: str
    title: str
    issued_at: int
    issued_at_base: bool
    outcome: ImpactOutcome
    figures: ImpactFigures | None = None
    problem: Problem | None = None


class ImpactExtreme(Contract):
    """The quantity whose unit price rises or falls by the largest share, and whose it is."""

    number: str
    revision: int
    quantity: int
    share: float
    unit_price: ComparedAmount
    currency: Currency


class ImpactSum(Contract):
    """Total prices of all quotes in one currency, each at its smallest quantity, and each at its middle one."""

    currency: Currency
    quotes: int
    smallest: ComparedAmount
    middle: ComparedAmount


class ImpactTotals(Contract):
    """All quotes that are worked out so far. `changed`: a price, a charge or a day differs; a quote may be dearer at one
    quantity and cheaper at another."""

    changed: int
    dearer: int
    cheaper: int
    largest_rise: ImpactExtreme | None = None
    largest_fall: ImpactExtreme | None = None
    sums: tuple[ImpactSum, ...] = ()


class RateImpact(Contract):
    """What a proposed table does to open quotes: how far that is worked out, all of them together, and a page of them."""

    number: str
    status: Literal["working", "done"]
    table: str
    proposal: int
    proposal_digest: str
    base_revision: int
    created_at: datetime
    asked_by: str
    counts: dict[Literal["in_work", "ready", "refused", "failed", "cancelled"], int]
    totals: ImpactTotals
    items: tuple[ImpactedQuote, ...]
    next: str | None = None
