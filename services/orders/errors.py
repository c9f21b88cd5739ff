"""What can go wrong with orders and the book.

Explained
└── OrdersError
    ├── SnapshotUnknown   no snapshot of that number
    ├── OrderUnknown      no order of that number
    ├── OrderEnded        an order that is completed cannot be cancelled, nor the reverse
    ├── CancellationCosts a charge that whoever cancels an order has not agreed to
    ├── BookingsRefused   bookings that cannot be; each is named, and none is booked
    ├── EstimateNotOrdered     an estimate that nobody ordered in that revision
    ├── ActualsRefused         a report with entries that cannot be; each is named, and none is kept
    ├── IdempotencyKeyReused   the key came with another report
    └── NothingToLearnFrom     groups without estimates, or without errors of these
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from shared_schemas.problem import Explained, ProblemDetail

MOST_NAMED = 100


class OrdersError(Explained):
    """Anything this service refuses."""


class SnapshotUnknown(OrdersError):
    """No snapshot of that number."""

    def __init__(self, number: int, latest: int) -> None:
        super().__init__(f"There is no snapshot {number} of the book of load; the latest is {latest}.")


class OrderUnknown(OrdersError):
    """No order of that number."""

    def __init__(self, number: str) -> None:
        super().__init__(f"There is no order {number[:60]}. An order has the number of the quote that was accepted.")


class OrderEnded(OrdersError):
    """An order that has ended the other way."""

    def __init__(self, number: str, state: str, wanted: str) -> None:
        super().__init__(f"The order {number} is {state}; it cannot be {wanted} any more.")


class CancellationCosts(OrdersError):
    """A charge that whoever cancels an order has not agreed to."""

    def __init__(
        self, number: str, charge: Decimal, currency: str, *, work_share: float, free_until: date, agreed: Decimal | None
    ) -> None:
        super().__init__(
            f"To cancel the order {number} costs {charge} {currency}: it was free until {free_until}, and {work_share:.0%} of its work is done. "
            f"Cancel it with agreed_charge {charge}.",
            ProblemDetail(
                pointer="/agreed_charge",
                reason="cancelling costs another amount" if agreed is not None else "cancelling costs something",
                figure=None if agreed is None else str(agreed),
                limit=str(charge),
                remedy=f"send agreed_charge {charge} if the customer pays it",
            ),
        )


class BookingsRefused(OrdersError):
    """Bookings that cannot be."""

    def __init__(self, errors: Sequence[ProblemDetail]) -> None:
        count = "1 booking" if len(errors) == 1 else f"{len(errors)} bookings"
        super().__init__(
            f"There is something to mend at {count}; nothing was booked. First: {errors[0].reason}.", *errors[:MOST_NAMED]
        )


class EstimateNotOrdered(OrdersError):
    """An estimate that nobody ordered in that revision."""

    def __init__(self, number: str) -> None:
        super().__init__(
            f"The estimate {number[:60]} is no order: only of the revision that was accepted can it be reported what happened."
        )


class ActualsRefused(OrdersError):
    """A report with entries that cannot be."""

    def __init__(self, errors: Sequence[ProblemDetail]) -> None:
        places = "1 place" if len(errors) == 1 else f"{len(errors)} places"
        super().__init__(f"The report has {places} to mend; nothing was kept. First: {errors[0].reason}.", *errors[:MOST_NAMED])


class IdempotencyKeyReused(OrdersError):
    """The key came with another report."""

    def __init__(self, key: str) -> None:
        super().__init__(f"The Idempotency-Key {key} came with another report. Use a new key.")


class NothingToLearnFrom(OrdersError):
    """Groups without estimates, or without errors of these."""

    def __init__(self) -> None:
        super().__init__("There is nothing to learn from: each group needs an estimate with a standard error above 0.")
