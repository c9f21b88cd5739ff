"""What can go wrong with shop arithmetic.

Explained
├── FigureOutOfRange   a figure for which a formula has no answer (of the contracts, as every room has such)
└── ShopError
    └── NoWorkingDays  a calendar on which nobody ever works, or not within a year
"""

from __future__ import annotations

from datetime import date

from shared_schemas.problem import Explained, ProblemDetail


class ShopError(Explained):
    """Anything that the arithmetic of the shop refuses."""


class NoWorkingDays(ShopError):
    """A calendar on which nobody ever works, or nobody within a year of the day `begin`."""

    def __init__(self, begin: date | None = None) -> None:
        if begin is None:
            text, reason, remedy = "has no weekday with working hours", "no weekday has hours", "give a weekday its hours"
        else:
            text = f"has no working day within a year of {begin}"
            reason, remedy = f"holidays and shutdowns take every day from {begin} on", "shorten the shutdown"
        super().__init__(
            f"The calendar {text}, so nothing can ever ship.",
            ProblemDetail(pointer="/calendar", reason=reason, figure=0, remedy=remedy),
        )
