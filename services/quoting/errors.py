"""What can go wrong in quoting.

Explained
└── QuotingError
    ├── RequestUnanswerable    the request asks for what the rates do not have
    ├── QuoteUnknown           no quote of that number
    ├── RevisionUnknown        the quote has no such revision
    ├── BatchUnknown           no batch of that number
    ├── ImpactUnknown          no impact of that number, or no longer
    ├── QuoteNotReady          the quote has no figures: under way, refused or failed
    ├── QuoteInWork            a revision of the quote is under way, so no other is begun
    ├── QuoteNotIssued         nothing was quoted that could be decided on
    ├── QuoteExpired           the quote is past the day it was valid until
    ├── DecisionStands         another decision on that revision was made before
    ├── NothingToChange        a change of an order that is not there, or no longer in that revision
    ├── OrderOver              a change of an order that was cancelled or completed
    ├── QuantityNotQuoted      an order for a quantity that was not quoted
    ├── OrderNotPlaced         an order response of a quote that was not accepted
    ├── EstimateUnknown        no estimate of that number, or its quote is not ready
    ├── CursorUnreadable       a cursor that none of our pages gave out
    ├── CursorOfAnotherEpoch   a cursor from before a backup was restored
    ├── CursorOfTheFuture      a cursor beyond all that happened
    ├── QuoteArchived          its documents are in an archive, and here no longer
    ├── IdempotencyKeyReused   the key was used for another request
    ├── QueueFull              as many quotes are under way as may be
    ├── KeyHasEnough           as many quotes of one key are under way as may be
    ├── TooMuchWork            more work than one quote may be
    ├── NothingToCancel        what was to be cancelled has its outcome
    ├── PointerNamesNoFigure   a JSON pointer that leads to no figure of the quote
    ├── LetterUnknown          no dead letter of that number
    ├── ReplayOfNoUse          it would fail again, or a later revision is ready: requote
    ├── LetterNotReplayable    its quote has not failed, or no longer
    ├── CurrencyNotOfTheDay    a currency whose rate is not for the day of the quote
    └── PlansDisagree          the plans of two stages do not belong together
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

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

    def __init__(self, number: str, revision: int, status: str, reasons: Sequence[ProblemDetail] = ()) -> None:
        self.number = number
        self.revision = revision
        first = f" First reason: {reasons[0].pointer}: {reasons[0].reason}." if reasons else ""
        super().__init__(f"Revision {revision} of quote {number} has no figures: it is {status}.{first}", *reasons)


class RevisionUnknown(QuotingError):
    """The quote has no such revision."""

    def __init__(self, number: str, revision: int, latest: int) -> None:
        self.number = number
        self.revision = revision
        super().__init__(f"The quote {number} has no revision {revision}; its latest is {latest}.")


class BatchUnknown(QuotingError):
    """No batch of that number."""

    def __init__(self, number: str) -> None:
        self.number = number
        super().__init__(f"There is no batch {number}.")


class ImpactUnknown(QuotingError):
    """No impact of that number, or none any more."""

    def __init__(self, number: str) -> None:
        self.number = number
        super().__init__(f"There is no impact {number}; what a proposed table would do is kept for some days only.")


class QuoteInWork(QuotingError):
    """A revision is under way; its figures may be what the next one is asked for."""

    def __init__(self, number: str, revision: int) -> None:
        self.number = number
        self.revision = revision
        super().__init__(
            f"Revision {revision} of quote {number} is still being worked on. Wait until it is ready, refused or failed, then ask again."
        )


class QuoteNotIssued(QuotingError):
    """Nothing was quoted that could be accepted or declined."""

    def __init__(self, number: str, revision: int, status: str) -> None:
        self.number = number
        super().__init__(
            f"Revision {revision} of quote {number} is {status}, so there is nothing to decide on; only a ready quote is accepted or declined."
        )


class QuoteExpired(QuotingError):
    """The quote is past the day it was valid until."""

    def __init__(self, number: str, revision: int, valid_until: date) -> None:
        self.number = number
        super().__init__(
            f"Revision {revision} of quote {number} was valid until {valid_until}. "
            f"Ask for the next revision at today's rates: POST /v1/quotes/{number}/requote. "
            "If these prices still hold, accept it with confirm_expired: the date is worked out anew."
        )


class DecisionStands(QuotingError):
    """Another decision on that revision was made before, and stands."""

    def __init__(self, number: str, revision: int, stands: str, *, later: bool = False) -> None:
        self.number = number
        changes = f" To change that order, accept this revision with changes_order {revision}." if later else ""
        super().__init__(
            f"Revision {revision} of quote {number} was {stands}, and that stands. "
            + (
                f"One quote is one order: a further order needs a quote of its own, POST /v1/quotes.{changes}"
                if stands.startswith("accepted")
                else f"A change of mind needs the next revision: POST /v1/quotes/{number}/requote."
            )
        )


class NothingToChange(QuotingError):
    """A change of an order that is not there, or no longer in that revision."""

    def __init__(self, number: str, changes_order: int, ordered: int | None) -> None:
        self.number = number
        stands = "nothing of it is ordered" if ordered is None else f"it is ordered in revision {ordered}"
        super().__init__(
            f"There is no order of revision {changes_order} of quote {number} to change: {stands}.",
            ProblemDetail(
                pointer="/changes_order", reason="that revision is not the one that is ordered", figure=changes_order, limit=ordered,
                remedy="leave it out" if ordered is None else f"name revision {ordered} if its order is what changes",
            ),
        )  # fmt: skip


class OrderOver(QuotingError):
    """A change of an order that was cancelled or completed."""

    def __init__(self, number: str, state: str, at: datetime) -> None:
        self.number = number
        super().__init__(
            f"The order of quote {number} was {state} on {at:%Y-%m-%d}, so it cannot be changed. One quote is one order: a further order "
            "needs a quote of its own, POST /v1/quotes."
        )


class QuantityNotQuoted(QuotingError):
    """An order for a quantity that was not quoted."""

    def __init__(self, number: str, quantity: int, quoted: Sequence[int]) -> None:
        self.number = number
        known = ", ".join(map(str, quoted))
        super().__init__(
            f"Quote {number} has no price for {quantity}; it was quoted for {known}.",
            ProblemDetail(
                pointer="/quantity",
                reason="there is no price for it",
                figure=quantity,
                limit=known,
                remedy=f"one of {known}, or a requote with that quantity",
            ),
        )


class OrderNotPlaced(QuotingError):
    """An order response of a quote that was not accepted."""

    def __init__(self, number: str, revision: int) -> None:
        self.number = number
        super().__init__(
            f"Revision {revision} of quote {number} is not accepted, so there is no order to respond to; accept it first, or ask for its quotation."
        )


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


class CursorOfAnotherEpoch(QuotingError):
    """A cursor that was given out before a backup was restored; what it stood for may be gone, or be something else."""

    def __init__(self, cursor: str, restored_at: datetime) -> None:
        self.cursor = cursor
        super().__init__(
            f"The cursor was given out before a backup was restored ({restored_at:%Y-%m-%d %H:%M} UTC). Start from the beginning, without a cursor."
        )


class CursorOfTheFuture(QuotingError):
    """A cursor beyond everything that has happened, which no page can have given out."""

    def __init__(self, cursor: str, position: int, last: int) -> None:
        self.cursor = cursor
        super().__init__(
            f"The cursor stands for entry {position}, and the last of the feed is {last}: no page of this feed gave it out. "
            "Start from the beginning, without a cursor."
        )


class QuoteArchived(QuotingError):
    """The documents of a quote are in an archive, and here no longer."""

    def __init__(self, number: str, revision: int, archive: str) -> None:
        self.number = number
        self.revision = revision
        self.archive = archive
        super().__init__(
            f"Revision {revision} of quote {number} lies in the archive {archive}. Read it there with: blankwright archive show {archive} {number}; "
            "or put all that is in it back with: blankwright unarchive."
        )


class IdempotencyKeyReused(QuotingError):
    """The key was used for another request."""

    def __init__(self, key: str, number: str) -> None:
        self.number = number
        super().__init__(f"The Idempotency-Key {key} was used for another request, which became quote {number}. Use a new key.")


class QueueFull(QuotingError):
    """As many quotes are under way as may be; none of them is touched."""

    retry_after_s = 5

    def __init__(self, under_way: int, asked: int, most: int) -> None:
        self.most = most
        super().__init__(
            f"{under_way} quotes are under way, and at most {most} may be{_with(asked)}. Send this again in {self.retry_after_s} s; "
            "with the same Idempotency-Key it is done once however often it is sent."
        )


class KeyHasEnough(QuotingError):
    """As many quotes of this key are under way as may be of one; those of other keys are taken."""

    retry_after_s = 15

    def __init__(self, under_way: int, asked: int, most: int) -> None:
        self.most = most
        super().__init__(
            f"{under_way} quotes of this key are under way, and at most {most} of one key may be{_with(asked)}. "
            f"Send this again in {self.retry_after_s} s, or cancel what is no longer wanted (DELETE)."
        )


def _with(asked: int) -> str:
    return "" if asked == 1 else f"; this asks for {asked} more"


class TooMuchWork(QuotingError):
    """More work than one quote may be. Each of `errors` names what there is much of, and how much would do."""

    def __init__(self, work_s: float, most_s: float, errors: Sequence[ProblemDetail]) -> None:
        would_do = (
            ", or: ".join((error.remedy or "").rstrip(".") for error in errors) or "An administrator can allow more (most_work_s)"
        )
        super().__init__(f"This is about {work_s:.0f} s of work, and one quote may be at most {most_s:.0f} s. {would_do}.", *errors)


class NothingToCancel(QuotingError):
    """What was to be cancelled has its outcome."""

    def __init__(self, number: str, status: str) -> None:
        super().__init__(f"{number} is {status}; only what is under way can be cancelled. A ready quote is declined.")


class PointerNamesNoFigure(QuotingError):
    """A JSON pointer that leads to no figure of the quote; `below` names what stands where it ends."""

    def __init__(self, pointer: str, why: str, below: str) -> None:
        self.pointer = pointer
        super().__init__(
            f"{pointer or 'The empty pointer'} names no figure of the quote: {why}.",
            ProblemDetail(
                pointer="/query/of",
                reason=why,
                figure=pointer[:200],
                limit=below or None,
                remedy="a pointer such as /breaks/0/unit_price",
            ),
        )


class LetterUnknown(QuotingError):
    """No dead letter of that number."""

    def __init__(self, letter: int) -> None:
        self.letter = letter
        super().__init__(f"There is no dead letter {letter}; the list at /v1/dead-letters names those there are.")


class LetterNotReplayable(QuotingError):
    """Only a failed quote starts anew; the figures of a ready one never change."""

    def __init__(self, letter: int, number: str, status: str) -> None:
        self.letter = letter
        self.number = number
        super().__init__(f"The dead letter {letter} is of quote {number}, which is {status} now; only a failed quote is replayed.")


class ReplayOfNoUse(QuotingError):
    """A failed quote that a replay would not help: its rates are pinned, or a later revision has its answer."""

    def __init__(self, letter: int, number: str, why: str) -> None:
        self.letter = letter
        self.number = number
        remedy = f"requote {number}: POST /v1/quotes/{number}/requote"
        super().__init__(
            f"A replay of the dead letter {letter} would not help: {why}. Instead, {remedy}.",
            ProblemDetail(pointer="", reason=why, figure=letter, remedy=remedy),
        )


class CurrencyNotOfTheDay(QuotingError):
    """A currency whose rate is not for the day of the quote."""

    def __init__(self, currency: str, *, as_of: date, good_for_days: int, day: date) -> None:
        self.currency = currency
        limit = f"from {as_of} for {good_for_days} days"
        super().__init__(
            f"The rates have no {currency} for {day}: its rate is good {limit}.",
            ProblemDetail(
                pointer="/currency", reason=f"the rates have no {currency} for that day", figure=day.isoformat(), limit=limit,
                remedy=f"a new rate of {currency} in the table currencies, or another currency",
            ),
        )  # fmt: skip


class PlansDisagree(QuotingError):
    """The plans of two stages do not belong together: parts that one has and the other has not, or another currency."""

    def __init__(self, what: str, *, figure: str, limit: str) -> None:
        super().__init__(
            f"The plans do not belong together: {what} {figure}, where {limit} would do.",
            ProblemDetail(pointer="/operations", reason=what, figure=figure, limit=limit),
        )
