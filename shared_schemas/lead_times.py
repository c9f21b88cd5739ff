"""Dates: how long it takes, how sure that is, what decides it, and what would bring it nearer."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from operator import not_
from typing import Annotated, Literal

from pydantic import Field, model_validator

from shared_schemas.base import Contract, Day, Fault, Money, Text, refuse_if_any
from shared_schemas.operation_kinds import OperationName
from shared_schemas.operations import Face

LARGEST_QUANTITY = 100_000
Quantity = Annotated[int, Field(strict=True, ge=1, le=LARGEST_QUANTITY)]

LineKind = Literal[
    "material", "operations", "bought_parts", "losses", "overhead", "contingency", "margin", "tooling", "minimum_order", "evening", "rounding", "priority", "overtime", "faster_glass", "outside", "discount", "own_price", "deliveries",
]  # fmt: skip

DecidingKind = Literal["operation", "delivery", "making_again"]
SoonerKind = Literal["priority", "overtime", "faster_glass", "outside", "moving_work"]


class Line(Contract):
    """One line of a price: what it is for and how much, for the whole quantity."""

    name: Annotated[str, Field(min_length=1, max_length=60)]
    kind: LineKind
    amount: Money


class Deciding(Contract):
    """Something that decides a date: an operation of a part, a delivery that it waits for, or making again what was lost of it.

    `share` is the share of the draws in which it lies on the path that is done last, its criticality. `days` are the calendar days of
    that path that are its own, waiting included, in the mean over all draws: a delivery of ten days that decides in half of them has five.
    `work_centre`, `operation` and `face` are those of an operation.
    """

    kind: DecidingKind
    name: str
    part: str
    work_centre: str | None = None
    operation: OperationName | None = None
    face: Face | None = None
    share: float
    days: float


class LeadTime(Contract):
    """Calendar days from order to shipping within which half, eight and nine of ten orders ship, and the day by which nine of ten ship if ordered on the day of the quote.

    `critical_path` is the chain of parts that is done last most often, from what it waits for to the lens; `decided_by` are the
    five things that take most of the days, the longest first. `remake_chance` is the share of orders in which something has to be made
    again; the days of that are counted in.
    """

    p50_days: int
    p80_days: int | None = None
    p90_days: int
    ship_date: date
    critical_path: tuple[str, ...] = ()
    decided_by: tuple[Deciding, ...] = ()
    remake_chance: float | None = None


class Expedite(Contract):
    """What it would cost to have a quantity sooner, for all of it, and by how many days the ship date is sooner. `lines` add up to `cost` exactly."""

    p50_days: int
    p80_days: int | None = None
    p90_days: int
    ship_date: date
    days_saved: int
    cost: Money
    lines: tuple[Line, ...]
    critical_path: tuple[str, ...] = ()


class SlippedOrder(Contract):
    """An accepted order that would be later, and by how many days."""

    order: str
    days: int
    ship_date: date | None = None


class SoonerOffer(Contract):
    """One thing that would bring a quantity nearer: what it costs for all of it and the days of the ship date that it gains.

    `moves` are the accepted orders that would be later; nobody moves them but the shop.
    """

    kind: SoonerKind
    what: Text
    cost: Money
    lines: tuple[Line, ...] = ()
    days_saved: int
    ship_date: date
    moves: tuple[SlippedOrder, ...] = ()


class SoonerSet(Contract):
    """The cheapest of all sets of offers that is there by the day it is needed; `offers` are places in the list of them."""

    offers: tuple[int, ...]
    cost: Money
    ship_date: date


class Delivery(Contract):
    """A part of an order that is wanted by itself, by a day if that is said."""

    quantity: Quantity
    by: Day | None = None


class PromiseRequest(Contract):
    """When would so many be ready, if they were ordered today? `deliveries` are parts of the quantity, in the order they are wanted; they add up to it."""

    quantity: Quantity
    revision: Annotated[int, Field(strict=True, ge=1)] | None = None
    deliveries: Annotated[tuple[Delivery, ...], Field(max_length=20)] = ()

    @model_validator(mode="after")
    def _deliveries_add_up(self) -> PromiseRequest:
        refuse_if_any(self, [*faults_of_deliveries(self.deliveries, self.quantity)])
        return self


def faults_of_deliveries(deliveries: Sequence[Delivery], quantity: int | None) -> Iterator[Fault]:
    """A fault where the parts of an order are not all of it."""
    whole = sum(one.quantity for one in deliveries)
    if deliveries and whole != quantity:
        yield Fault(
            "deliveries",
            reason=f"the deliveries are {whole} pieces together, and {quantity} are ordered",
            figure=whole,
            limit=quantity,
            remedy="let the quantities of the deliveries add up to the quantity",
        )


class PromisedDays(Contract):
    """The days on which half, eight and nine of ten orders are ready."""

    p50: date
    p80: date
    p90: date


class PromisedDelivery(Contract):
    """One part of an order: when it is ready as the first pieces of the one lot, and when as a lot of its own, with what that adds to the price of all.

    `in_time` is whether nine of ten are there by the day wanted: of the one lot, of a lot of its own, or not.
    """

    quantity: int
    by: date | None = None
    of_one_lot: PromisedDays
    as_own_lot: PromisedDays
    price_effect: Money
    in_time: Literal["of_one_lot", "as_own_lot", "no"] | None = None


class Promise(Contract):
    """The earliest days for a quantity against the book of today. The quote is as it was.

    `quoted_ship_date` is what the quote says of this quantity, `None` where it was not asked for.
    """

    number: str
    revision: int
    quantity: int
    currency: str
    ordered_on: date
    load_snapshot: int | None = None
    quoted_ship_date: date | None = None
    days: PromisedDays
    lead_time: LeadTime
    deliveries: tuple[PromisedDelivery, ...] = ()


class PromisedAtAcceptance(Contract):
    """The date worked out again when a quote was accepted, beside the one quoted. `deliveries` are the parts of the order that are wanted by themselves."""

    quoted_ship_date: date
    ship_date: date
    days: PromisedDays
    load_snapshot: int | None = None
    at: datetime
    deliveries: Annotated[tuple[PromisedDelivery, ...], Field(exclude_if=not_)] = ()
