"""What can go wrong in planning operations.

Explained
└── ProcessError
    ├── PlansDoNotMatch         check report or blank plan are of another lens
    └── OperationsRefused       the lens cannot be made by this shop (by hand only; on the queue it is a refusal)
"""

from __future__ import annotations

from shared_schemas.problem import Explained, ProblemDetail
from shared_schemas.traveller import Refusal


class ProcessError(Explained):
    """Anything this service refuses."""


class PlansDoNotMatch(ProcessError):
    """Check report or blank plan are of another lens."""

    def __init__(self, name: str, document: str) -> None:
        self.name = name
        self.document = document
        super().__init__(
            f"The element {name} has no entry in the {document}; it belongs to another lens.",
            ProblemDetail(
                pointer="",
                reason=f"{name} is not in the {document}",
                figure=name,
                remedy=f"send the {document} of this prescription",
            ),
        )


class OperationsRefused(ProcessError):
    """The lens cannot be made by this shop."""

    def __init__(self, refusal: Refusal) -> None:
        self.refusal = refusal
        super().__init__(
            f"This shop cannot make the lens. First: {refusal.reasons[0].message}",
            *(
                ProblemDetail(
                    pointer=f"/request/prescription{reason.pointer}", reason=reason.message, figure=reason.figure, limit=reason.limit,
                    remedy=reason.remedy,
                )
                for reason in refusal.reasons
            ),
        )  # fmt: skip
