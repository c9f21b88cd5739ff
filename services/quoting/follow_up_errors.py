"""What can go wrong with the list of quotes.

QuotingError
└── SearchCannotBe      filters that contradict each other, or one that needs another
"""

from __future__ import annotations

from collections.abc import Sequence

from services.quoting.errors import QuotingError
from shared_schemas.problem import Explained, ProblemDetail


class SearchCannotBe(QuotingError):
    """Filters that contradict each other, or one that needs another. Each of `errors` names one."""

    def __init__(self, errors: Sequence[ProblemDetail]) -> None:
        super().__init__(f"Nothing can be searched like that: {errors[0].reason}.", *errors)


STATUS: dict[type[Explained], tuple[int, str, str]] = {
    SearchCannotBe: (422, "invalid", "The search has values that cannot be"),
}
"""How each is answered: status, type and title of the problem."""
