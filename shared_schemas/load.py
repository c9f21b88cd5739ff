"""The book of load: what accepted orders and the ERP have taken of the hours of each work centre, week by week."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from operator import not_
from typing import Annotated, Literal

from pydantic import Field, field_validator

from shared_schemas.actuals import OrderProgress
from shared_schemas.base import NO_CONTROLS, Contract, Count, Day, Money, Name, NonNegative, Share
from shared_schemas.lead_times import Delivery
from shared_schemas.operation_kinds import OperationName
from shared_schemas.order_events import CancellationTerms, OrderCancellation
from shared_schemas.problem import OnlyWhereSaid

MOST_WEEKS = 260
"""A book goes no further ahead than this."""
MOST_BOOKINGS = 50_000
MOST_HOURS = 1_000_000
"""Beyond what all work centres together have in a week [h]."""
ACCEPTED = "accepted"
"""The source of what was accepted here; no ERP may use it."""

OrderState = Literal["booked", "completed", "cancelled"]


def monday_of(day: date) -> date:
    """The Monday of the week of a day."""
    return day - timedelta(days=day.weekday())


class CentreLoad(Contract):
    """Hours taken of one work centre, all its stations together, in each week from the first of the snapshot on [h]; none after the last given."""

    work_centre: Name
    booked_h: Annotated[tuple[NonNegative, ...], Field(max_length=MOST_WEEKS)]


class OrderLoad(Contract):
    """What one order takes. `order` is the number of its quote, or what the ERP calls it; `source` says who booked it."""

    order: Annotated[str, Field(min_length=1, max_length=60, pattern=NO_CONTROLS)]
    source: Name
    ship_date: date | None = None
    work_centres: tuple[CentreLoad, ...]


class LoadSnapshot(Contract):
    """The book at one moment, numbered and never changed. `digest` is the SHA-256 of the rest but for number and moment, in canonical JSON.

    `first_week` is a Monday; `orders` are in the order of their names.
    """

    number: Annotated[int, Field(strict=True, ge=1)]
    digest: str
    made_at: datetime
    first_week: date
    orders: tuple[OrderLoad, ...] = ()

    def week_of(self, day: date) -> int:
        """Which week of the book a day lies in, 0 the first; below 0 before it."""
        return (monday_of(day) - self.first_week).days // 7

    def booked_h(self) -> dict[str, tuple[float, ...]]:
        """Hours taken of each work centre in each week from the first on, by all orders together [h]."""
        return added_up(centre for order in self.orders for centre in order.work_centres)

    def without(self, order: str) -> LoadSnapshot:
        """The book as it is but for an order that was accepted here: a change of it takes the place of what it has booked."""
        others = tuple(one for one in self.orders if (one.order, one.source) != (order, ACCEPTED))
        return self if len(others) == len(self.orders) else self.model_copy(update={"orders": others})


def added_up(loads: Iterable[CentreLoad]) -> dict[str, tuple[float, ...]]:
    """Hours of each work centre in each week, of several orders together [h]."""
    whole: dict[str, list[float]] = {}
    for load in loads:
        weeks = whole.setdefault(load.work_centre, [])
        weeks.extend([0.0] * (len(load.booked_h) - len(weeks)))
        for week, hours in enumerate(load.booked_h):
            weeks[week] += hours
    return {name: tuple(weeks) for name, weeks in sorted(whole.items())}


class LoadSnapshotHead(Contract):
    """One line of the list of snapshots."""

    number: int
    digest: str
    made_at: datetime
    orders: int


class LoadSnapshotPage(Contract):
    """Snapshots, the newest first; `next` is the cursor of the next page."""

    items: tuple[LoadSnapshotHead, ...]
    next: str | None = None


class OrderOperation(Contract):
    """One operation of an accepted order: its hours on a station of its work centre, set-up included [h], and when they are expected.

    `id` is that of the operation in the job estimate; orders of before there were ids have none, and none of before it was handed over
    have `method`, the minutes, the pieces, the yield and the `cost` in the currency of the order.
    `glass_class` and `tolerance_class` are those of the element that it works on.
    """

    id: str = ""
    sequence: Annotated[int, Field(strict=True, ge=1)]
    part: Name
    operation: OperationName
    work_centre: Name
    hours: NonNegative
    begins: date
    ends: date
    method: Annotated[str, Field(exclude_if=not_)] = ""
    glass_class: Annotated[str, Field(exclude_if=not_)] = ""
    tolerance_class: Annotated[str, Field(exclude_if=not_)] = ""
    setup_min: Annotated[NonNegative | None, OnlyWhereSaid] = None
    run_min: Annotated[NonNegative | None, OnlyWhereSaid] = None
    pieces: Annotated[Count | None, OnlyWhereSaid] = None
    cost: Annotated[Money | None, OnlyWhereSaid] = None
    yield_share: Annotated[Share | None, OnlyWhereSaid] = None

    @property
    def name(self) -> str:
        """What it is reported by: its id, or of an order of before there were ids its place."""
        return self.id or f"operation-{self.sequence}"


class OrderMaterial(Contract):
    """Glass or a bought part of an accepted order, by its id in the job estimate: what all of it was quoted to cost, in the currency of the order."""

    id: Annotated[str, Field(min_length=1, max_length=200)]
    item: str
    cost: Money


class QuotedOutcome(Contract):
    """How the quote said an order may turn out: the cost of a lens that eight in ten draws keep, and the days that five and eight in ten keep."""

    unit_cost_p80: Money | None = None
    p50_days: int
    p80_days: int | None = None


class AcceptedOrder(Contract):
    """What quoting hands over when a quote is accepted: what is ordered, when it is promised, and the hours it takes of the shop.

    `consumes` has the parts that are put into each part that is made of others; operations of those stand before its own. Orders of before
    there were such things have no `consumes`, `materials` and `quoted`.
    `changes_order` is the revision whose order this one takes the place of, `cancellation` on which terms it may be cancelled, and
    `deliveries` are the parts of it that are wanted by themselves.
    """

    quote_number: str
    revision: int
    quantity: int
    customer: str = ""
    title: str = ""
    accepted_at: datetime
    quoted_ship_date: date
    ship_date: date
    load_snapshot: int | None = None
    currency: Annotated[str, Field(exclude_if=not_)] = ""
    rate_revision: Annotated[int | None, OnlyWhereSaid] = None
    quoted: Annotated[QuotedOutcome | None, OnlyWhereSaid] = None
    materials: Annotated[tuple[OrderMaterial, ...], Field(exclude_if=not_)] = ()
    consumes: Annotated[dict[str, tuple[str, ...]], Field(exclude_if=not_)] = Field(default_factory=dict)
    changes_order: Annotated[int | None, OnlyWhereSaid] = None
    cancellation: Annotated[CancellationTerms | None, OnlyWhereSaid] = None
    deliveries: Annotated[tuple[Delivery, ...], Field(exclude_if=not_)] = ()
    operations: tuple[OrderOperation, ...]


class Handover(Contract):
    """One entry of what quoting hands over to orders, in the order in which it happened; `position` rises and never repeats."""

    position: int
    accepted: AcceptedOrder


class HandoverPage(Contract):
    """Entries after a position, oldest first."""

    items: tuple[Handover, ...]


class ForeignBooking(Contract):
    """Hours that an ERP has given to one of its orders at one work centre in the week of a day [h]."""

    order: Annotated[str, Field(min_length=1, max_length=60, pattern=NO_CONTROLS)]
    work_centre: Name
    week: Day
    hours: Annotated[float, Field(strict=True, ge=0, le=MOST_HOURS)]
    ship_date: Day | None = None

    @field_validator("week")
    @classmethod
    def _by_its_monday(cls, value: date) -> date:
        return monday_of(value)


class LoadPut(Contract):
    """All that one source has booked: it takes the place of what the same source said before."""

    source: Name
    bookings: Annotated[tuple[ForeignBooking, ...], Field(max_length=MOST_BOOKINGS)]


class WeekOfLoad(Contract):
    """One week of one work centre: hours there are, taken, and free [h], and the share that is taken."""

    week: date
    capacity_h: float
    booked_h: float
    free_h: float
    share: float


class CentreWeeks(Contract):
    """One work centre, week by week. `usual_share` is what its row of shop_load says is usually taken, `booked_share` how much of that is in the book."""

    work_centre: Name
    usual_share: Share
    booked_share: Share
    weeks: tuple[WeekOfLoad, ...]


class LoadBook(Contract):
    """The book as it stands: by work centre and week. `chart` is an SVG drawing of it."""

    snapshot: int
    digest: str
    made_at: datetime
    first_week: date
    orders: int
    work_centres: tuple[CentreWeeks, ...]
    chart: str = ""


class OrderInBook(Contract):
    """An order as the book has it.

    `cancellation_terms` say what it costs to cancel it, and `cancellation` that it was.
    """

    order: str
    source: Name
    state: OrderState
    quantity: int | None = None
    customer: str = ""
    title: str = ""
    accepted_at: datetime | None = None
    quoted_ship_date: date | None = None
    ship_date: date | None = None
    booked_h: float
    work_centres: tuple[CentreLoad, ...] = ()
    first_week: date | None = None
    progress: Annotated[OrderProgress | None, OnlyWhereSaid] = None
    revision: Annotated[int | None, OnlyWhereSaid] = None
    deliveries: Annotated[tuple[Delivery, ...], Field(exclude_if=not_)] = ()
    cancellation_terms: Annotated[CancellationTerms | None, OnlyWhereSaid] = None
    cancellation: Annotated[OrderCancellation | None, OnlyWhereSaid] = None


class OrderPage(Contract):
    """Orders, the newest first; `next` is the cursor of the next page."""

    items: tuple[OrderInBook, ...]
    next: str | None = None
