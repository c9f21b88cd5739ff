"""What proposed rates would do to open quotes, before they are published; no quote is touched.

Every quote has three prices: as it was issued, at today's rates, and with the draft. What the draft does is the third less the
second; what has moved since the quote was issued, by other changes of the rates or by another release, is the second less the first.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from shared_schemas.base import Contract, Currency, Day, Fault, Money, Name, refuse_if_any
from shared_schemas.problem import OnlyWhereSaid, Problem
from shared_schemas.rates import TABLES

MOST_QUOTES = 2000
MOST_ROWS = 5000
MOST_MOVERS = 10
MOST_CUSTOMERS = 50

ImpactOutcome = Literal["working", "ready", "refused", "failed", "cancelled"]


class RateProposal(Contract):
    """One table or more that were looked at as a change of them is, and kept beside the revisions. They are never in force.

    `number` is below zero, where no revision is; `digest` is the one that the next revision would have if the table were
    published on `base_revision`. Where it is of several tables, or of none, `tables` names them.
    """

    number: Annotated[int, Field(lt=0)]
    base_revision: int
    table: str
    tables: Annotated[tuple[str, ...] | None, OnlyWhereSaid] = None
    digest: str
    created_at: datetime
    created_by: str


class ImpactChoice(Contract):
    """What is held against the open quotes, and which of them.

    A proposal is a `draft`, or one `table` with its rows. The quotes are those that are named, or the newest `most` of all that are
    open, of one `customer` and issued on `issued_since` or later where that is said; with `refused` also those that were refused, which
    the draft may make possible.
    """

    table: Name | None = None
    draft: Annotated[int, Field(strict=True, ge=1)] | None = None
    most: Annotated[int, Field(strict=True, ge=1, le=MOST_QUOTES)] = MOST_QUOTES
    quotes: Annotated[tuple[Name, ...], Field(min_length=1, max_length=MOST_QUOTES)] | None = None
    customer: Name | None = None
    issued_since: Day | None = None
    refused: bool = False

    @model_validator(mode="after")
    def _one_proposal_and_each_quote_once(self) -> ImpactChoice:
        refuse_if_any(self, [*self._of_the_proposal(), *self._of_the_quotes()])
        return self

    def _of_the_proposal(self) -> Iterator[Fault]:
        if (self.table is None) == (self.draft is None):
            yield Fault(
                "table",
                reason="an impact is of a table or of a draft",
                figure=self.table,
                limit="one of the two",
                remedy="name a table and send its rows, or give the number of a draft",
            )
        elif self.table is not None and self.table not in TABLES:
            yield Fault(
                "table", reason="there is no such table", figure=self.table, limit=None, remedy=f"one of {', '.join(TABLES)}"
            )

    def _of_the_quotes(self) -> Iterator[Fault]:
        seen: set[str] = set()
        for place, number in enumerate(self.quotes or ()):
            if number in seen:
                yield Fault(
                    "quotes", place, reason="the quote is named twice", figure=number, limit="each once", remedy="leave it out here"
                )
            seen.add(number)


class RateImpactRequest(ImpactChoice):
    """What an engineer would publish: a draft, or all rows of one table, as for a change of it."""

    rows: Annotated[tuple[dict[str, Any], ...], Field(min_length=1, max_length=MOST_ROWS)] | None = None

    @model_validator(mode="after")
    def _rows_of_a_table_only(self) -> RateImpactRequest:
        if (self.rows is None) != (self.table is None):
            fault = Fault(
                "rows",
                reason="a table is proposed with its rows, and a draft has them already",
                figure=None if self.rows is None else len(self.rows),
                limit=None,
                remedy="send all rows of the table" if self.rows is None else "leave the rows out",
            )
            refuse_if_any(self, [fault])
        return self


class RateImpactAccepted(Contract):
    """The answer to a proposal: the number of its impact, how many quotes it is worked out for, and where to look."""

    number: str
    status: Literal["working", "done"]
    quotes: int
    links: dict[str, str]


class RatedBreak(Contract):
    """One quantity of a quote at some rates. `paid` is what of the price pays for cost, overhead, contingency and tools; the loss chance
    is that cost and overhead pass the price as issued."""

    quantity: int
    unit_price: Money
    total_price: Money
    unit_cost: Money
    paid: Money
    p50_days: int
    p90_days: int
    loss_chance: float | None = None


class RatedQuote(Contract):
    """The prices and days of a quote at some rates; `tooling` is the sum of the charges for tools that are asked once."""

    currency: Currency
    breaks: tuple[RatedBreak, ...]
    tooling: Money


class SideFigures(Contract):
    """What a traveller of an impact notes: the quote at its rates, and with the draft also as it was issued."""

    issued: RatedQuote | None = None
    rated: RatedQuote | None = None


class ThreeAmounts(Contract):
    """An amount as issued, at today's rates and with the draft; `drift` is today less issued, `effect` the draft less today."""

    issued: Money | None
    today: Money | None
    draft: Money | None
    drift: Money | None
    effect: Money | None


class ThreeCounts(Contract):
    """Days as issued, at today's rates and with the draft; `drift` is today less issued, `effect` the draft less today."""

    issued: int | None
    today: int | None
    draft: int | None
    drift: int | None
    effect: int | None


class KeptPrice(Contract):
    """What becomes of an order at the price as issued: at the rates of the quote, at today's, and with the draft.

    The margin is what the price leaves over cost, overhead, contingency and tools spread over the order, as a share of
    it; below zero it does not even cover them. The loss chance is that cost and overhead pass the price.
    """

    margin_share_issued: float
    margin_share_today: float | None = None
    margin_share_draft: float | None = None
    loss_chance_issued: float | None = None
    loss_chance_today: float | None = None
    loss_chance_draft: float | None = None


class ImpactedBreak(Contract):
    """One quantity of a quote. `effect_share` is the rise of the unit price by the draft as a share of today's, `drift_share` that of
    today's as a share of the price as issued."""

    quantity: int
    unit_price: ThreeAmounts
    drift_share: float | None
    effect_share: float | None
    total_price: ThreeAmounts
    unit_cost: ThreeAmounts
    price_kept: KeptPrice | None = None
    p50_days: ThreeCounts
    p90_days: ThreeCounts


class ImpactFigures(Contract):
    """What a draft does to one quote; `tooling` is the sum of the charges for tools that are asked once."""

    currency: Currency
    breaks: tuple[ImpactedBreak, ...]
    tooling: ThreeAmounts


class ImpactedQuote(Contract):
    """One quote of an impact: what it is with the draft (`outcome`), and at today's rates (`today`).

    `today_as_issued`: it was made at the newest rates by this release, so that today's price is the issued one. `unread`: the draft
    changes no table that a lens like this is priced by, so that its price is today's. Both are known without working anything out.
    `newly_refused` and `newly_quotable` compare the draft with today. `problem` says why the lens is refused with the draft, or what broke.
    """

    place: int
    number: str
    revision: int
    customer: str
    title: str
    issued_at: int
    today_as_issued: bool
    unread: bool
    outcome: ImpactOutcome
    today: ImpactOutcome
    newly_refused: bool = False
    newly_quotable: bool = False
    figures: ImpactFigures | None = None
    problem: Problem | None = None


class ImpactMover(Contract):
    """A quote whose unit price a draft moves by a large share of today's, at the quantity where it moves most."""

    number: str
    revision: int
    customer: str
    quantity: int
    share: float
    unit_price: ThreeAmounts
    currency: Currency


class ImpactSum(Contract):
    """Total prices of quotes in one currency that have all three, each at its smallest quantity, and each at its middle one."""

    currency: Currency
    quotes: int
    smallest: ThreeAmounts
    middle: ThreeAmounts


class ImpactTotals(Contract):
    """All quotes that are worked out so far.

    `changed`: by the draft a price, a charge or a day differs from today's; a quote may be dearer at one quantity and cheaper at another.
    `drifted`: today's price, charge or day differs from that as issued. `largest_movers` are moved most by the draft, up or down.
    """

    changed: int
    dearer: int
    cheaper: int
    drifted: int
    newly_refused: int
    newly_quotable: int
    largest_movers: tuple[ImpactMover, ...] = ()
    sums: tuple[ImpactSum, ...] = ()


class ImpactOnCustomer(Contract):
    """What a draft does to the quotes of one customer."""

    customer: str
    totals: ImpactTotals


class RateImpact(Contract):
    """What a draft does to open quotes: how far that is worked out, all of them together, by customer, and a page of them.

    `tables` are those that it changes. `by_customer` begins with those whom the draft moves most; no more than fifty are told.
    """

    number: str
    status: Literal["working", "done"]
    tables: tuple[str, ...]
    draft: int | None
    proposal: int
    proposal_digest: str
    base_revision: int
    created_at: datetime
    asked_by: str
    quotes: int
    worked_out: int
    counts: dict[Literal["in_work", "ready", "refused", "failed", "cancelled"], int]
    totals: ImpactTotals
    by_customer: tuple[ImpactOnCustomer, ...]
    items: tuple[ImpactedQuote, ...]
    next: str | None = None
