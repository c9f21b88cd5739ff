"""What can go wrong with shop arithmetic.

Explained
├── FigureOutOfRange   a figure for which a formula has no answer (of the contracts, as every room has such)
└── ShopError
    └── NoWorkingDays  a calendar on which nobody ever works
"""

from __future__ import annotations

from shared_schemas.problem import Explained, ProblemDetail


class ShopError(Explained):
    """Anything that the arithmetic of the shop refuses."""


class NoWorkingDays(ShopError):
    """A calendar on which nobody ever works."""

    def __init__(self) -> None:
        super().__init__(
            "The calendar has no weekday with working hours, so nothing can ever ship.",
            ProblemDetail(pointer="/calendar", reason="no weekday has hours", figure=0, remedy="give a weekday its hours"),
        )
