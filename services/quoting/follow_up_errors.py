"""What can go wrong with the list of quotes, and with a decision that is to be undone.

QuotingError
├── SearchCannotBe      filters that contradict each other, or one that needs another
└── DecisionNotUndone   a decision that is not there, stands for more than an hour, or has an order
"""

from __future__ import annotations

from collections.abc import Sequence

from services.quoting.errors import QuotingError
from shared_schemas.problem import Explained, ProblemDetail


class SearchCannotBe(QuotingError):
    """Filters that contradict each other, or one that needs another. Each of `errors` names one."""

    def __init__(self, errors: Sequence[ProblemDetail]) -> None:
        super().__init__(f"Nothing can be searched like that: {errors[0].reason}.", *errors)


class DecisionNotUndone(QuotingError):
    """A decision that cannot be undone: `why`, and what would do."""

    def __init__(self, number: str, revision: int, why: str, remedy: str) -> None:
        super().__init__(
            f"Nothing of revision {revision} of quote {number} was undone: {why}. What would do: {remedy}.",
            ProblemDetail(pointer="", reason=why, figure=revision, remedy=remedy),
        )


STATUS: dict[type[Explained], tuple[int, str, str]] = {
    DecisionNotUndone: (409, "conflict", "The decision cannot be undone"),
    SearchCannotBe: (422, "invalid", "The search has values that cannot be"),
}
"""How each is answered: status, type and title of the problem."""
