"""What can go wrong with orders and the book.

Explained
└── OrdersError
    ├── SnapshotUnknown   no snapshot of that number
    ├── OrderUnknown      no order of that number
    ├── OrderEnded        an order that is completed cannot be cancelled, nor the reverse
    ├── BookingsRefused   bookings that cannot be; each is named, and none is booked
    ├── EstimateNotOrdered     an estimate that nobody ordered in that revision
    ├── ActualsRefused         a report with entries that cannot be; each is named, and none is kept
    ├── IdempotencyKeyReused   the key came with another report
    └── NothingToLearnFrom     groups without estimates, or without errors of these
"""

from __future__ import annotations

from collections.abc import Sequence

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
