"""Rows of the tables of terms: commercial terms, currencies, calendar, load of the shop."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from itertools import pairwise
from typing import Annotated, Literal

from pydantic import Field, model_validator

from shared_schemas.base import (
    Contract,
    Currency,
    Fault,
    NonNegative,
    NonNegativeMoney,
    Share,
    refuse_if_any,
)
from shared_schemas.rate_row import RateRow


class MarginStep(Contract):
    """From this quantity on, the margin is this share of the price."""

    from_quantity: Annotated[int, Field(strict=True, ge=1)]
    margin_share: Annotated[float, Field(strict=True, ge=0, lt=1)]


class CommercialRow(RateRow):
    """Terms for one class of customer (`name`). Overhead is a share of cost, margin a share of price.

    `margin_steps` say the margin by quantity, `margin_share` where there are none. `tooling` says whether a charge for a
    tool is asked once, beside the price, or spread over the order, in it. `glass_price_variation` is the standard deviation
    of a glass price between quote and purchase, as a share of it, over the days that the quote is valid.

    An expedited order goes first: the share `expedite_queue_share` is left of every wait, for which
    `expedite_priority_share` is put on the cost of operations; `overtime_hours_share` more hours are worked a day, and in
    these labour costs `overtime_surcharge` more. Without these four, no order is expedited.
    A quantity that takes longer than `longest_lead_days` is not offered: its price stands there with a finding that says so.
    An order is cancelled for nothing within `cancel_free_days` of its acceptance; later for the share of its price that is done, and at
    least for `cancel_minimum_share` of it. Without these two it is always cancelled for nothing.
    A quote in which somebody overrode a figure needs a second key where the margin reached is below `margin_floor_share`, or the chance that cost
    and overhead pass the price is above `loss_chance_limit`; without one of the two there is no such limit.
    Goods travel by `freight_terms`; what the shop pays for it is a charge for the lot and one by the weight of the lenses.
    """

    overhead_share: Share
    margin_share: Annotated[float, Field(strict=True, ge=0, lt=1)]
    contingency_share: Share
    valid_days: Annotated[int, Field(strict=True, ge=1, le=365)]
    minimum_order: NonNegativeMoney
    rounding: Annotated[NonNegativeMoney, Field(gt=0)]
    margin_steps: tuple[MarginStep, ...] = ()
    tooling: Literal["one_off", "spread"] = "one_off"
    glass_price_variation: Annotated[float, Field(strict=True, ge=0, le=2)] = 0.08
    expedite_queue_share: Share | None = None
    expedite_priority_share: NonNegative | None = None
    overtime_hours_share: Share | None = None
    overtime_surcharge: NonNegative | None = None
    longest_lead_days: Annotated[int, Field(strict=True, ge=1)] = 730
    freight_terms: Annotated[str, Field(min_length=1, max_length=40)] = "ex works"
    freight_per_lot: NonNegativeMoney = Decimal(0)
    freight_per_kg: NonNegativeMoney = Decimal(0)
    cancel_free_days: Annotated[int, Field(strict=True, ge=0, le=365)] | None = None
    cancel_minimum_share: Share | None = None
    margin_floor_share: Annotated[float, Field(strict=True, ge=0, lt=1)] | None = None
    loss_chance_limit: Share | None = None

    @model_validator(mode="after")
    def _margins_have_no_hole_and_an_expedite_has_its_price(self) -> CommercialRow:
        refuse_if_any(self, [*self._faults_of_margins(), *self._faults_of_expedite(), *self._faults_of_cancelling()])
        return self

    def _faults_of_margins(self) -> list[Fault]:
        starts = [step.from_quantity for step in self.margin_steps]
        faults = []
        if starts and starts[0] != 1:
            faults.append(
                Fault(
                    "margin_steps",
                    0,
                    "from_quantity",
                    reason="the margins have a hole below their first step",
                    figure=starts[0],
                    limit=1,
                    remedy="let the first step start at 1",
                )
            )
        for i, (before, after) in enumerate(pairwise(starts), start=1):
            if after <= before:
                faults.append(
                    Fault(
                        "margin_steps",
                        i,
                        "from_quantity",
                        reason="the steps of the margin do not rise",
                        figure=after,
                        limit=before,
                        remedy=f"a quantity above {before}",
                    )
                )
        return faults

    def _faults_of_expedite(self) -> list[Fault]:
        names = ("expedite_queue_share", "expedite_priority_share", "overtime_hours_share", "overtime_surcharge")
        return self._faults_of_some(
            names, reason="an expedited order needs all four of its terms", remedy="fill in all four, or none"
        )

    def _faults_of_cancelling(self) -> list[Fault]:
        names = ("cancel_free_days", "cancel_minimum_share")
        return self._faults_of_some(names, reason="cancelling needs both of its terms", remedy="fill in both, or neither")

    def _faults_of_some(self, names: tuple[str, ...], *, reason: str, remedy: str) -> list[Fault]:
        """Faults of terms of which some are filled in and others are not."""
        missing = [name for name in names if getattr(self, name) is None]
        if len(missing) in (0, len(names)):
            return []
        return [Fault(name, reason=reason, figure=None, limit=", ".join(names), remedy=remedy) for name in missing]

    def margin_at(self, quantity: int) -> float:
        """Margin of an order of that quantity, as a share of its price."""
        share = self.margin_share
        for step in self.margin_steps:
            if step.from_quantity <= quantity:
                share = step.margin_share
        return share


class CurrencyRow(RateRow):
    """A currency (`name`, its ISO 4217 code): how many of it one unit of the base currency buys on the day `as_of`.

    Quotes are made with it from that day on, and for no more than `good_for_days` where that is said.
    """

    name: Currency
    per_base: Annotated[NonNegativeMoney, Field(gt=0)]
    minor_units: Annotated[int, Field(strict=True, ge=0, le=4)]
    good_for_days: Annotated[int, Field(strict=True, ge=0)] | None = None

    def holds_on(self, day: date) -> bool:
        """Whether a quote of that day may be made with it."""
        return self.good_for_days is None or 0 <= (day - self.as_of).days <= self.good_for_days


class CalendarRow(RateRow):
    """A weekday with its working hours (`weekday`, 0 Monday), or a `holiday`; a shutdown lasts from its `holiday` `until` a day, both counted in."""

    weekday: Annotated[int, Field(strict=True, ge=0, le=6)] | None = None
    hours: Annotated[float, Field(strict=True, ge=0, le=24)] = 0.0
    holiday: date | None = None
    until: date | None = None


class ShopLoadRow(RateRow):
    """How busy a work centre (`name`) usually is: the share of its hours that is taken, and the spread of work and arrivals.

    `booked_share` is how much of that is work which the book of load will show by the time it is done; the rest is work that is in no book.
    """

    utilisation: Annotated[float, Field(strict=True, ge=0, lt=1)]
    squared_variation: NonNegative
    mean_job_h: NonNegative
    booked_share: Share = 0.0
