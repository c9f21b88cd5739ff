"""What really happened to the operations of an order, and how far it is: what is done, what is late, what it cost so far."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from shared_schemas.base import Contract, Count, Fault, Moment, Money, NonNegative, NonNegativeMoney, Text, refuse_if_any
from shared_schemas.operation_kinds import OperationName

MOST_ACTUALS = 2_000
"""In one request: more operations than any order has."""
MOST_MINUTES = 10_000_000
"""Beyond what one operation takes [min]: nineteen years."""

OperationState = Literal["open", "begun", "done"]
Minutes = Annotated[NonNegative, Field(le=MOST_MINUTES)]


class Actual(Contract):
    """What is known of one operation now; it takes the place of what was said of it before.

    `setup_min` and `run_min` are those of the machine, all batches and rework in them. `price_paid` is what was paid for it where
    it was bought or done outside. An operation with `finished_at` is done; without it is under way. In the place of an operation may stand
    the id of glass or of a bought part of the estimate, with the price paid for all of it.
    """

    operation: Annotated[str, Field(min_length=1, max_length=200)]
    setup_min: Minutes | None = None
    run_min: Minutes | None = None
    started: Count | None = None
    good: Count | None = None
    reason_of_loss: Annotated[Text, Field(max_length=200)] = ""
    price_paid: NonNegativeMoney | None = None
    finished_at: Moment | None = None

    @model_validator(mode="after")
    def _no_more_good_than_started(self) -> Self:
        if self.started is not None and self.good is not None and self.good > self.started:
            fault = Fault(
                "good", reason="more pieces are good than were started", figure=self.good, limit=self.started, remedy="count again"
            )
            refuse_if_any(self, [fault])
        return self

    @property
    def minutes(self) -> float:
        """All minutes that were said."""
        return (self.setup_min or 0.0) + (self.run_min or 0.0)


class Actuals(Contract):
    """What happened to some operations of an order, each once."""

    entries: Annotated[tuple[Actual, ...], Field(min_length=1, max_length=MOST_ACTUALS)]


class KeptActual(Contract):
    """An entry as it is kept: when it came, and whether it is the one that counts."""

    at: datetime
    stands: bool
    entry: Actual


class ActualsKept(Contract):
    """All that was ever said of the operations of an order, oldest first."""

    order: str
    entries: tuple[KeptActual, ...]


class OperationProgress(Contract):
    """How far one operation is. `expected_end` is the day on which it was or will be done; it is late when that is after `ends`.

    `cost_so_far` is the price paid, or else the quoted cost in proportion to the minutes.
    """

    id: str
    sequence: int
    part: str
    operation: OperationName
    work_centre: str
    state: OperationState
    late: bool
    begins: date
    ends: date
    expected_end: date
    quoted_h: float
    actual_h: float
    started: int | None = None
    good: int | None = None
    reason_of_loss: str = ""
    quoted_cost: Money | None = None
    cost_so_far: Money | None = None


class MaterialProgress(Contract):
    """Glass or a bought part of an order: what it was quoted to cost, and what was paid for it."""

    id: str
    item: str
    quoted_cost: Money
    price_paid: Money | None = None


class OrderProgress(Contract):
    """How far an order is, by what was reported.

    `operations_in_all` counts them; a page of orders leaves the list of them empty, and that of materials. `late` operations are those
    that end or will end after their plan, `days_late` the days by which the forecast is after the day promised. `quoted_cost_so_far` is the
    quoted cost of what `cost_so_far` is known of, so that the two compare. `rule` says how `forecast_ship_date` comes about.
    """

    operations: tuple[OperationProgress, ...]
    materials: tuple[MaterialProgress, ...] = ()
    operations_in_all: int = 0
    done: int
    late: int
    days_late: int = 0
    currency: str
    quoted_cost: Money
    quoted_cost_so_far: Money
    cost_so_far: Money
    forecast_ship_date: date
    rule: str


class ActualsTaken(Contract):
    """What became of a report: so many entries were new, so many said nothing new, and how far the order is."""

    order: str
    taken: int
    unchanged: int
    progress: OrderProgress
