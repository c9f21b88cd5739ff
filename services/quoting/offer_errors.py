"""What can go wrong with offers.

QuotingError
├── SheetNotAsAsked        an offer in another form than those there are
├── LanguageUnknown        an offer in a language that has no words here
├── LetterheadMissing      nobody has entered the seller's letterhead
├── LetterheadMoved        the letterhead is no longer the one that was read
├── LogoUnusable           a picture that no page can be set with
├── OfferUnknown           no offer of that number
├── OfferNotSendable       a revision that no customer is to read any more
├── OfferWithoutSeller     nobody offers it: no letterhead, or no address that it comes from
├── MailNotSetUp           no mail server is named
└── MailNotSent            the mail server did not take it; the offer is kept
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
            f"It can be had as {forms}.",
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


class OfferUnknown(QuotingError):
    """No offer of that number."""

    def __init__(self, number: str) -> None:
        super().__init__(f"There is no offer {number}.")


class OfferNotSendable(QuotingError):
    """A revision that no customer is to read any more."""

    def __init__(self, number: str, revision: int, why: str) -> None:
        self.number = number
        super().__init__(f"The offer of revision {revision} of quote {number} is not sent: {why}.")


class OfferWithoutSeller(QuotingError):
    """Nobody offers it."""

    def __init__(self) -> None:
        super().__init__(
            "An offer is not sent without a seller: enter the letterhead with its name and email (PUT /v1/letterhead, blankwright letterhead set FILE)."
        )


class MailNotSetUp(QuotingError):
    """No mail server is named."""

    def __init__(self) -> None:
        super().__init__(
            "No mail server is set up (BLANKWRIGHT_SMTP_HOST), so nothing is sent by mail. With send: file the offer is made and kept, "
            "and its mail can be had as a file (message/rfc822) to be sent by hand."
        )


class MailNotSent(QuotingError):
    """The mail server did not take it."""

    def __init__(self, offer: str, why: str) -> None:
        self.retry_after_s = 60
        super().__init__(
            f"The mail server did not take offer {offer}: {why}. The offer is kept unsent; the same request with the same Idempotency-Key tries again, "
            f"and GET /v1/offers/{offer} has the mail as a file."
        )


STATUS: dict[type[Explained], tuple[int, str, str]] = {
    SheetNotAsAsked: (406, "not-acceptable", "A quote sheet comes in another form"),
    LanguageUnknown: (422, "invalid", "There is no sheet in that language"),
    LetterheadMissing: (404, "not-found", "There is no letterhead yet"),
    LetterheadMoved: (412, "stale", "The letterhead was changed meanwhile"),
    LogoUnusable: (422, "invalid", "The logo cannot be used"),
    OfferUnknown: (404, "not-found", "There is no such offer"),
    OfferNotSendable: (409, "conflict", "The offer is not sent"),
    OfferWithoutSeller: (409, "conflict", "There is no seller"),
    MailNotSetUp: (409, "conflict", "No mail server is set up"),
    MailNotSent: (503, "unavailable", "The mail server did not take it"),
}
