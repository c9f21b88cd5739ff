"""What can go wrong with the worksheet of a quote and its second key.

QuotingError
├── WorksheetUnanswerable   a figure that is not there, a value that cannot be set, overrides that contradict each other
├── WorksheetMoved          the worksheet is no longer the one that was read
├── WorksheetOfBefore       a quote of an earlier release that comes out otherwise now
├── JobSheetOfBefore        a job sheet of such a quote
├── NothingToApprove        the revision needs no second key
├── ApprovalOwn             whoever asked for the revision or set a figure of it cannot approve it
├── ApprovalStands          somebody else approved it before
├── SecondKeyNeeded         a revision that is neither accepted nor given out before it is approved
└── OverrideBaseMoved       one that is neither, before somebody looked again at what was overridden
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from services.quoting.errors import QuotingError
from shared_schemas.check import Finding
from shared_schemas.problem import Explained, ProblemDetail

BASE_MOVED = "override-base-moved"
"""The finding of a quote in which somebody overrode a figure that is worked out otherwise now."""


class WorksheetUnanswerable(QuotingError):
    """A figure that is not there, a value that cannot be set, or overrides that contradict each other."""

    def __init__(self, errors: Sequence[ProblemDetail]) -> None:
        places = "1 place" if len(errors) == 1 else f"{len(errors)} places"
        super().__init__(f"The worksheet cannot be changed so: {places} to mend. First: {errors[0].reason}.", *errors)


class WorksheetMoved(QuotingError):
    """The worksheet is no longer the one that was read."""

    def __init__(self, number: str, revision: int) -> None:
        self.number = number
        super().__init__(
            f"The worksheet of quote {number} is that of revision {revision} now, not the one that If-Match names. Read it again, then change it."
        )


class WorksheetOfBefore(QuotingError):
    """A quote of an earlier release that this one cannot work out to the same prices."""

    def __init__(self, number: str, revision: int) -> None:
        self.number = number
        super().__init__(
            f"Revision {revision} of quote {number} is of an earlier release, and comes out otherwise by this one, so there is no worksheet of it. "
            f"Its next revision has one: POST /v1/quotes/{number}/requote."
        )


class JobSheetOfBefore(QuotingError):
    """A quote of an earlier release whose quantity this one cannot work out to the same price."""

    def __init__(self, number: str, revision: int) -> None:
        self.number = number
        super().__init__(
            f"Revision {revision} of quote {number} is of an earlier release, and comes out otherwise by this one, so there is no job sheet of it. "
            f"Its next revision has one: POST /v1/quotes/{number}/requote."
        )


class NothingToApprove(QuotingError):
    """The revision needs no second key."""

    def __init__(self, number: str, revision: int) -> None:
        self.number = number
        super().__init__(
            f"Revision {revision} of quote {number} needs no approval: nothing that was overridden brings it below the floor of its margin or above "
            "the limit of the chance of a loss."
        )


class ApprovalOwn(QuotingError):
    """Whoever asked for a revision or set a figure of it cannot be its second key; `did` says what the key or the name has done."""

    def __init__(self, number: str, revision: int, *, pointer: str, who: str, did: str, others: str) -> None:
        self.number = number
        super().__init__(
            f"Revision {revision} of quote {number} cannot be approved by {who}, who {did}. {others}",
            ProblemDetail(pointer=pointer, reason=f"{who} {did}", figure=who, limit="somebody else", remedy=others.rstrip(".")),
        )


class ApprovalStands(QuotingError):
    """Somebody else approved the revision before, and that stands."""

    def __init__(self, number: str, revision: int, by: str, at: datetime) -> None:
        self.number = number
        super().__init__(f"Revision {revision} of quote {number} was approved by {by} on {at:%Y-%m-%d}, and that stands.")


class SecondKeyNeeded(QuotingError):
    """A revision that is neither accepted nor given out before somebody else approved it."""

    def __init__(self, number: str, revision: int, needed_for: Sequence[Finding], others: str) -> None:
        self.number = number
        reasons = " ".join(one.message for one in needed_for)
        super().__init__(
            f"Revision {revision} of quote {number} needs an approval before it is accepted or given out. {reasons} {others}",
            *(_detail(one, f"POST /v1/quotes/{number}/approvals, or a requote at another price") for one in needed_for),
        )


class OverrideBaseMoved(QuotingError):
    """A revision that is neither accepted nor given out before somebody looked again at what was overridden."""

    def __init__(self, number: str, revision: int, moved: Sequence[Finding]) -> None:
        self.number = number
        which = "an override" if len(moved) == 1 else f"{len(moved)} overrides"
        super().__init__(
            f"Revision {revision} of quote {number} has {which} in the place of a figure that is another one now. Confirm or withdraw on its "
            "worksheet before it is accepted or given out.",
            *(_detail(one, f"PATCH /v1/quotes/{number}/worksheet with confirm or withdraw") for one in moved),
        )


def _detail(finding: Finding, remedy: str) -> ProblemDetail:
    return ProblemDetail(pointer=finding.pointer, reason=finding.message, figure=finding.figure, limit=finding.limit, remedy=remedy)


STATUS: dict[type[Explained], tuple[int, str, str]] = {
    WorksheetUnanswerable: (422, "invalid", "The worksheet cannot be changed so"),
    WorksheetMoved: (412, "stale", "The worksheet is another one now"),
    JobSheetOfBefore: (409, "conflict", "The quote is of an earlier release"),
    WorksheetOfBefore: (409, "conflict", "The quote is of an earlier release"),
    NothingToApprove: (409, "conflict", "There is nothing to approve"),
    ApprovalOwn: (409, "conflict", "Somebody else has to approve it"),
    ApprovalStands: (409, "conflict", "It was approved before"),
    SecondKeyNeeded: (409, "conflict", "It needs an approval"),
    OverrideBaseMoved: (409, "conflict", "What was overridden has moved"),
}
