"""What can go wrong with changes of a request.

QuotingError
└── PatchTestFailed   a JSON Patch expects another request than there is
"""

from __future__ import annotations

from collections.abc import Sequence

from services.quoting.errors import QuotingError
from shared_schemas.problem import Explained, ProblemDetail


class PatchTestFailed(QuotingError):
    """A JSON Patch expects another request than there is: one of its tests found something else. Nothing of it is done."""

    def __init__(self, errors: Sequence[ProblemDetail]) -> None:
        super().__init__(f"The request is not as the patch expects. First: {errors[0].pointer}: {errors[0].reason}.", *errors)


STATUS: dict[type[Explained], tuple[int, str, str]] = {
    PatchTestFailed: (409, "conflict", "The request is not as the patch expects"),
}
