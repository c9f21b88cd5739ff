"""What can go wrong with offers.

QuotingError
├── SheetNotAsAsked        an offer in another form than those there are
├── LanguageUnknown        an offer in a language that has no words here
├── LetterheadMissing      nobody has entered the seller's letterhead
├── LetterheadMoved        the letterhead is no longer the one that was read
└── LogoUnusable           a picture that no page can be set with
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


class LetterheadMissing(QuotingError):
    """Nobody has entered the seller's letterhead."""

    def __init__(self) -> None:
        super().__init__(
            "There is no letterhead yet, so offers say that the seller's name is missing. An administrator puts it: PUT /v1/letterhead."
        )


class LetterheadMoved(QuotingError):
    """The letterhead is no longer the one that was read."""

    def __init__(self, version: int, tag: str) -> None:
        self.current_tag = tag
        super().__init__(
            f"The letterhead is version {version} now, not the one that If-Match names. Read it again, then change it."
        )


class LogoUnusable(QuotingError):
    """A picture that no page can be set with."""

    def __init__(self, why: str, figure: str, limit: str) -> None:
        super().__init__(
            f"The logo cannot be used: {why} ({figure}; allowed: {limit}).",
            ProblemDetail(
                pointer="",
                reason=why,
                figure=figure,
                limit=limit,
                remedy="a PNG or JPEG of at most 512 KiB and 4000 pixels each way",
            ),
        )


STATUS: dict[type[Explained], tuple[int, str, str]] = {
    SheetNotAsAsked: (406, "not-acceptable", "A quote sheet comes in another form"),
    LanguageUnknown: (422, "invalid", "There is no sheet in that language"),
    LetterheadMissing: (404, "not-found", "There is no letterhead yet"),
    LetterheadMoved: (412, "stale", "The letterhead was changed meanwhile"),
    LogoUnusable: (422, "invalid", "The logo cannot be used"),
}
