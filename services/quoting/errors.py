"""What can go wrong in quoting.

Explained
└── QuotingError
    ├── RequestUnanswerable    the request asks for what the rates do not have
    ├── QuoteUnknown           no quote of that number
    ├── QuoteNotReady          the quote has no figures: under way, refused or failed
    ├── EstimateUnknown        no estimate of that number, or its quote is not ready
    ├── CursorUnreadable       a cursor that none of our pages gave out
    ├── IdempotencyKeyReused   the key was used for another request
    ├── FigureOutOfRange       a figure of the rates or the request with which there is no answer
    ├── NoWorkingDays          a calendar on which nobody ever works
    └── PlansDisagree          the plans of two stages do not belong together
"""

from __future__ import annotations

from collections.abc import Sequence

from shared_schemas.problem import Explained, ProblemDetail


class QuotingError(Explained):
    """Anything this service refuses."""


class RequestUnanswerable(QuotingError):
    """The request asks for what the rates do not have, or for a day that is gone."""

    def __init__(self, errors: Sequence[ProblemDetail]) -> None:
        places = "1 place" if len(errors) == 1 else f"{len(errors)} places"
        super().__init__(f"The request has {places} to mend. First: {errors[0].pointer}: {errors[0].reason}.", *errors)


class QuoteUnknown(QuotingError):
    """No quote of that number."""

    def __init__(self, number: str) -> None:
        self.number = number
        super().__init__(f"There is no quote {number}.")


class QuoteNotReady(QuotingError):
    """The quote has no figures."""

    def __init__(self, number: str) -> None:
        self.number = number
        super().__init__(f"The quote {number} has no figures to explain: it is under way, refused or failed.")


class EstimateUnknown(QuotingError):
    """No estimate of that number, or its quote is not ready."""

    def __init__(self, number: str) -> None:
        self.number = number
        super().__init__(f"There is no estimate {number}; the feed at /v1/estimates names those there are.")


class CursorUnreadable(QuotingError):
    """A cursor that none of our pages gave out."""

    def __init__(self, cursor: str) -> None:
        super().__init__(
            "The cursor cannot be read; use the one that the page before gave as next.",
            ProblemDetail(
                pointer="/query/cursor", reason="not a cursor of ours", figure=cursor[:60], remedy="leave it out to start anew"
            ),
        )


class IdempotencyKeyReused(QuotingError):
    """The key was used for another request."""

    def __init__(self, key: str, number: str) -> None:
        self.number = number
        super().__init__(f"The Idempotency-Key {key} was used for another request, which became quote {number}. Use a new key.")


class FigureOutOfRange(QuotingError):
    """A figure of the rates or the request with which there is no answer."""

    def __init__(self, name: str, figure: float | str, limit: str) -> None:
        self.name = name
        super().__init__(
            f"A {name} of {figure} has no answer; it must be {limit}.",
            ProblemDetail(pointer=f"/{name.replace(' ', '_')}", reason="there is no answer with it", figure=figure, limit=limit),
        )


class NoWorkingDays(QuotingError):
    """A calendar on which nobody ever works."""

    def __init__(self) -> None:
        super().__init__(
            "The calendar has no weekday with working hours, so nothing can ever ship.",
            ProblemDetail(pointer="/calendar", reason="no weekday has hours", figure=0, remedy="give a weekday its hours"),
        )


class PlansDisagree(QuotingError):
    """The plans of two stages do not belong together: parts that one has and the other has not, or another currency."""

    def __init__(self, what: str, *, figure: str, limit: str) -> None:
        super().__init__(
            f"The plans do not belong together: {what} {figure}, where {limit} would do.",
            ProblemDetail(pointer="/operations", reason=what, figure=figure, limit=limit),
        )
