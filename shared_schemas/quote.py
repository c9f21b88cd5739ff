"""The quote request, the quote, and the job estimate that the ERP pulls."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from operator import not_
from typing import Annotated, Literal

from pydantic import Field

from shared_schemas.base import Contract, Currency, Money, Text
from shared_schemas.blanks import Blank
from shared_schemas.check import CheckReport, Finding
from shared_schemas.figure import Figure
from shared_schemas.lead_times import (
    Expedite,
    LeadTime,
    Line,
    PromisedAtAcceptance,
    PromisedDelivery,
    SoonerOffer,
    SoonerSet,
)
from shared_schemas.operation_kinds import OperationName
from shared_schemas.operations import BoughtPart, Operation, Route, Tooling
from shared_schemas.order_terms import AfterPrototypes, OrderedSparePart, OrderTerms
from shared_schemas.overrides import AppliedOverride
from shared_schemas.prescription import Prescription
from shared_schemas.problem import OnlyWhereSaid, Problem

QuoteStatus = Literal[
    "accepted", "checking", "planning_blanks", "planning_operations", "assembling", "ready", "refused", "failed", "cancelled"
]
FINAL_STATUSES: frozenset[str] = frozenset({"ready", "refused", "failed", "cancelled"})

QuoteState = Literal["open", "accepted", "declined", "expired"]
"""Where a ready quote stands with the customer."""

ApprovalState = Literal["needed", "given"]
"""Whether a revision waits for a second key, or has it; a quote that needs none says nothing."""

InTime = Literal["yes", "with_expedite", "with_changes", "no"]
ToolingTerms = Literal["one_off", "spread"]


def middle_quantity(quantities: Iterable[int]) -> int:
    """The quantity that decides what is said only once of a quote: the middle one of those asked for, of two the smaller."""
    rising = sorted(quantities)
    return rising[(len(rising) - 1) // 2]


class UnitCost(Contract):
    """Cost of one good lens before overhead and margin: as planned, and as it may turn out.

    `p80_in_time` is of the draws that are there by the day the lenses are needed, `None` where no day was said or none is in time.
    """

    planned: Money
    p50: Money | None = None
    p80: Money | None = None
    p95: Money | None = None
    p80_in_time: Money | None = None


class MaterialNeed(Contract):
    """One line of a bill of materials: glass as it is bought, or a bought part, for one quantity."""

    item: str
    kind: Literal["glass", "bought_part"]
    quantity: float
    unit: Literal["g", "piece"]
    cost: Money


class RiskDriver(Contract):
    """An operation in all parts together, or the price of a glass, and its share of the variance of the cost; most of it in `part`."""

    operation: OperationName | Literal["glass price"]
    part: str
    share: float


class Break(Contract):
    """The answer for one quantity. `lines` add up to `total_price` exactly: `quantity` times `unit_price`, and the amounts of `spare_parts`
    that are delivered beside the lenses, and a charge for `deliveries` beyond the first. `prototypes` says that it is made
    before any other, and `after_prototypes` what the others are then. `unit_cost` is that of all of it over the lenses.

    `start_quantities` are those of one plan for the job, of alike elements those of the lot at the first; `enough_chance` counts all losses. `ways` says how each element is made; `routes` and `blanks`
    are there where that is another way than at the middle quantity, `tooling` where its tools are other ones. `spares` are the
    good pieces to be expected beyond the order, by part; `loss_chance` is the chance that cost and overhead pass the price;
    `in_time` answers a request that says when it needs the lenses, and `in_time_with` says what would bring them in time
    where the answer is not a plain yes, or with a no the earliest day and its cost; `in_time_chance` is the share of draws that are there by then.
    `expedite` is `None` where it would save no day or the terms know none. `sooner` are single things that would bring it nearer,
    `soonest_set` the cheapest set of them that is in time. `margin_share` is told where an estimator set figures: the margin that the
    price leaves when cost, overhead, contingency and tools that the shop pays itself are paid, as a share of the price without tools.
    """

    quantity: int
    unit_price: Money
    total_price: Money
    lines: tuple[Line, ...]
    unit_cost: UnitCost
    lead_time: LeadTime
    start_quantities: dict[str, int]
    materials: tuple[MaterialNeed, ...]
    ways: dict[str, dict[str, str]] = Field(default_factory=dict)
    routes: tuple[Route, ...] = ()
    blanks: tuple[Blank, ...] = ()
    tooling: tuple[Tooling, ...] | None = None
    spare_parts: Annotated[tuple[OrderedSparePart, ...], Field(exclude_if=not_)] = ()
    deliveries: Annotated[tuple[PromisedDelivery, ...], Field(exclude_if=not_)] = ()
    prototypes: Annotated[bool, Field(exclude_if=not_)] = False
    after_prototypes: Annotated[AfterPrototypes | None, OnlyWhereSaid] = None
    spares: dict[str, float] = Field(default_factory=dict)
    spares_value: Money | None = None
    enough_chance: float | None = None
    loss_chance: float | None = None
    risk_drivers: tuple[RiskDriver, ...] = ()
    in_time: InTime | None = None
    in_time_with: tuple[Text, ...] = ()
    in_time_chance: float | None = None
    expedite: Expedite | None = None
    sooner: tuple[SoonerOffer, ...] = ()
    soonest_set: SoonerSet | None = None
    margin_share: Annotated[float | None, OnlyWhereSaid] = None


class ExplainedBreak(Contract):
    """Why one quantity costs what it costs and ships when it ships: its figures down to formulas and rate rows."""

    quantity: int
    figures: tuple[Figure, ...]


class Explanation(Contract):
    """What lies behind the breaks of a quote. How an operation comes to its minutes stands with the operation itself."""

    breaks: tuple[ExplainedBreak, ...]


class QuotedElement(Contract):
    """One element as it will be made."""

    name: str
    glass: str
    blank: Blank
    operations: tuple[Operation, ...]


class QuotedRelaxation(Contract):
    """A tolerance the customer could relax: from, to, what it saves per unit at `quantity`, and in days.

    `means` says in words what no figure says. A saving that is `charged_once` is of charges for tools, over the quantity.
    """

    where: str
    tolerance: str
    from_figure: float
    to_figure: float
    unit: str
    quantity: int
    saving_per_unit: Money
    days_saved: int
    means: str = ""
    charged_once: bool = False


class QuotedOffer(Contract):
    """A radius that could be that of a test plate the shop owns, what it does to the lens and what it saves.

    Fields are those of `ToolingOffer`. `saving` is of the charges for tools and once for the order, `saving_per_unit` that
    over `quantity`, `days_saved` off the median date.
    """

    where: str
    also: tuple[str, ...] = ()
    part: str
    from_radius_mm: float
    to_radius_mm: float
    tool: str
    focal_length_change_mm: float
    focal_length_change_share: float
    not_needed: tuple[str, ...]
    needed: tuple[Tooling, ...] = ()
    saving: Money
    quantity: int
    saving_per_unit: Money
    days_saved: int
    basis: tuple[Figure, ...] = ()


class CombinedSaving(Contract):
    """What several relaxations save when all are granted, worked out together and not summed."""

    where: tuple[str, ...]
    tolerances: tuple[str, ...]
    quantity: int
    saving_per_unit: Money
    days_saved: int


class QuoteBody(Contract):
    """What quoting works out: the same for the same request, rates and day, down to the byte.

    `findings` are those of the stages after the check; the check report has its own. The charges of `tooling` are asked
    once beside the prices, or, where `tooling_terms` says so, spread over each quantity as a line of its price. `order` is what the
    request says of the order beside lenses and quantities. `overrides` are what an estimator set instead of figures that were worked
    out, as far as they count, `currency_clause` is one of these: a sentence on the currency, as the customer reads it.
    """

    prescription: Prescription
    order: Annotated[OrderTerms | None, OnlyWhereSaid] = None
    rate_revision: int
    rate_digest: str
    load_snapshot: int | None = None
    quoted_on: date
    valid_until: date
    currency: Currency
    confidence: float
    check: CheckReport
    breaks: tuple[Break, ...]
    tooling: tuple[Tooling, ...]
    tooling_terms: ToolingTerms = "one_off"
    elements: tuple[QuotedElement, ...]
    assembly: tuple[Route, ...]
    bought_parts: tuple[BoughtPart, ...]
    offers: tuple[QuotedOffer, ...] = ()
    relaxations: tuple[QuotedRelaxation, ...] = ()
    best_relaxations: CombinedSaving | None = None
    findings: tuple[Finding, ...] = ()
    cautions: tuple[Text, ...] = ()
    overrides: Annotated[tuple[AppliedOverride, ...], Field(exclude_if=not_)] = ()
    currency_clause: Annotated[str, Field(exclude_if=not_)] = ""


DeclineReason = Literal["price", "date", "lost_to_other", "no_budget", "changed", "no_answer", "other"]


class OrderChange(Contract):
    """What an acceptance that changes an order makes of it: price and date of the order of `changes_order`, an earlier revision, and of this one.

    Prices are what is payable, tools included. `price_difference` is new less old, `None` where that cannot be said: another currency, or an
    archived quote. `days_later` counts from the day promised before to the one promised now.
    """

    changes_order: int
    old_quantity: int | None = None
    old_currency: str = ""
    old_price: Money | None = None
    new_price: Money
    price_difference: Money | None = None
    old_ship_date: date | None = None
    new_ship_date: date
    days_later: int | None = None


class QuoteDecision(Contract):
    """What the customer decided on one revision of a quote: who said so (`key_id` is the key it came with) and when.

    `promised` is the date of an acceptance, worked out again against the book of load of that moment; `late` says that it came after the
    last day of the quote. `purchase_order`, `customer_number` and `contact` are the customer's own, `reason` is why it was declined.
    `changes_order` is the revision whose order this acceptance takes the place of, and `change` what that makes of price and date.
    `order_state` says that the order has ended.
    """

    number: str
    revision: int
    decision: Literal["accepted", "declined"]
    quantity: int | None = None
    by: str
    note: str = ""
    key_id: str
    at: datetime
    promised: PromisedAtAcceptance | None = None
    purchase_order: str | None = None
    customer_number: str | None = None
    contact: str | None = None
    needed_by: date | None = None
    reason: DeclineReason | None = None
    late: bool = False
    changes_order: Annotated[int | None, OnlyWhereSaid] = None
    change: Annotated[OrderChange | None, OnlyWhereSaid] = None
    order_state: Annotated[Literal["cancelled", "completed"] | None, OnlyWhereSaid] = None


class UndoneDecision(Contract):
    """A decision that was taken back: as it stood, who undid it (`key_id` is the key it came with), why and when."""

    decision: QuoteDecision
    by: str
    reason: str
    key_id: str
    at: datetime


class Quote(Contract):
    """A quote as the sales desk sees it, at any moment of its life.

    A ready quote has every field of `QuoteBody`, and `digest` is the SHA-256 of those in canonical JSON; until then
    they are `None`. `problem` says why a quote was `refused` or `failed`. `state` is where a ready quote stands with the
    customer on the day it is read, `approval` whether it needs a second key; figures of a revision never change, a requote makes the next one. `reference` is the customer's own.
    """

    number: str
    revision: int = 1
    latest_revision: int = 1
    status: QuoteStatus
    state: QuoteState | None = None
    decision: QuoteDecision | None = None
    undone_decisions: Annotated[tuple[UndoneDecision, ...], Field(exclude_if=not_)] = ()
    approval: Annotated[ApprovalState | None, OnlyWhereSaid] = None
    attempt: int
    created_at: datetime
    finished_at: datetime | None = None
    customer: str = ""
    reference: Annotated[str, Field(exclude_if=not_)] = ""
    digest: str | None = None
    problem: Problem | None = None
    rate_revision: int
    prescription: Prescription | None = None
    order: Annotated[OrderTerms | None, OnlyWhereSaid] = None
    rate_digest: str | None = None
    load_snapshot: int | None = None
    quoted_on: date | None = None
    valid_until: date | None = None
    currency: Currency | None = None
    confidence: float | None = None
    check: CheckReport | None = None
    breaks: tuple[Break, ...] | None = None
    tooling: tuple[Tooling, ...] | None = None
    tooling_terms: ToolingTerms = "one_off"
    elements: tuple[QuotedElement, ...] | None = None
    assembly: tuple[Route, ...] | None = None
    bought_parts: tuple[BoughtPart, ...] | None = None
    offers: tuple[QuotedOffer, ...] | None = None
    relaxations: tuple[QuotedRelaxation, ...] | None = None
    best_relaxations: CombinedSaving | None = None
    findings: tuple[Finding, ...] | None = None
    cautions: tuple[Text, ...] | None = None
    overrides: Annotated[tuple[AppliedOverride, ...], Field(exclude_if=not_)] = ()
    currency_clause: Annotated[str, Field(exclude_if=not_)] = ""

    @property
    def body(self) -> QuoteBody | None:
        """What quoting worked out, `None` while the quote is not ready."""
        if self.breaks is None:
            return None
        return QuoteBody.model_construct(**{name: getattr(self, name) for name in QuoteBody.model_fields})


class QuoteAccepted(Contract):
    """The answer to a quote request: its number, and where to look."""

    number: str
    revision: int = 1
    status: QuoteStatus
    links: dict[str, str]


__all__ = [name for name in dir() if not name.startswith("_")]
