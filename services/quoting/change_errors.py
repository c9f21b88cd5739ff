"""What can go wrong with changes of a request.

QuotingError
├── PatchTestFailed   a JSON Patch expects another request than there is
└── WhatIfUnknown     no what-if of that number, or no longer
"""

from __future__ import annotations

from collections.abc import Sequence

from services.quoting.errors import QuotingError
from shared_schemas.problem import Explained, ProblemDetail


class PatchTestFailed(QuotingError):
    """A JSON Patch expects another request than there is: one of its tests found something else. Nothing of it is done."""

    def __init__(self, errors: Sequence[ProblemDetail]) -> None:
        super().__init__(f"The request is not as the patch expects. First: {errors[0].pointer}: {errors[0].reason}.", *errors)


class WhatIfUnknown(QuotingError):
    """No what-if of that number, or no longer."""

    def __init__(self, number: str) -> None:
        super().__init__(
            f"There is no what-if {number[:40]}; they are kept for some days only. Ask anew: POST /v1/quotes/(number)/what-if."
        )


STATUS: dict[type[Explained], tuple[int, str, str]] = {
    PatchTestFailed: (409, "conflict", "The request is not as the patch expects"),
    WhatIfUnknown: (404, "not-found", "There is no such what-if"),
}
