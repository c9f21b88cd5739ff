"""What can go wrong with offers.

QuotingError
├── SheetNotAsAsked        an offer in another form than those there are
└── LanguageUnknown        an offer in a language that has no words here
"""

from __future__ import annotations

from collections.abc import Sequence

from services.quoting.errors import QuotingError
from shared_schemas.problem import Explained, ProblemDetail


class SheetNotAsAsked(QuotingError):
    """A quote sheet in another form than those that are `offered`."""

    def __init__(self, accept: str, offered: Sequence[str]) -> None:
        self.accept = accept
        forms = " and ".join(offered)
        super().__init__(
            f"A quote sheet can be had as {forms}.",
            ProblemDetail(
                pointer="/header/accept",
                reason="there is no such form of it",
                figure=accept[:120],
                limit=forms,
                remedy=f"Accept: {offered[0]}",
            ),
        )


class LanguageUnknown(QuotingError):
    """A language that no table of words is in; `known` are those there are."""

    def __init__(self, code: str, known: Sequence[str]) -> None:
        self.code = code
        languages = ", ".join(known)
        super().__init__(
            f"A quote sheet comes in these languages: {languages}.",
            ProblemDetail(
                pointer="/query/language",
                reason="there is no sheet in that language",
                figure=code[:40],
                limit=languages,
                remedy=f"one of {languages}",
            ),
        )


STATUS: dict[type[Explained], tuple[int, str, str]] = {
    SheetNotAsAsked: (406, "not-acceptable", "A quote sheet comes in another form"),
    LanguageUnknown: (422, "invalid", "There is no sheet in that language"),
}
