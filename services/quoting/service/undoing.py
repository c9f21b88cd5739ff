"""A decline that was recorded by mistake is taken back, for an hour and with a reason."""

from __future__ import annotations

from datetime import datetime, timedelta

from services.chassis.resources import Resources
from services.quoting.follow_up_errors import DecisionNotUndone
from services.quoting.service.documents import decision_document
from services.quoting.store.repository import QuoteStore
from services.quoting.store.undoing import UndoStore
from shared_schemas.quote import QuoteDecision, UndoneDecision
from shared_schemas.quote_life import UndoRequest

UNDONE_WITHIN = timedelta(hours=1)


def undo(number: str, asked: UndoRequest, *, key_id: str, now: datetime, resources: Resources) -> UndoneDecision:
    """Take back the decline of a revision, the latest unless another is named; the quote is open again, and may be decided on anew.

    Raises `QuoteUnknown`, `RevisionUnknown`, and `DecisionNotUndone` where there is none, for an acceptance, after an hour, and where there is
    a later revision.
    """
    row = QuoteStore(resources.database).quote(number, asked.revision)
    stands = row.decision
    if stands is None:
        raise DecisionNotUndone(number, row.revision, "nothing was decided on it", "there is nothing to undo")
    if stands.decision == "accepted":
        remedy = f"cancel the order: POST /v1/orders/{number}/cancellation, and requote"
        raise DecisionNotUndone(number, row.revision, "it was accepted, and its order is in the book of load", remedy)
    if now - stands.at > UNDONE_WITHIN:
        raise DecisionNotUndone(
            number, row.revision, f"it was declined at {stands.at:%Y-%m-%d %H:%M} UTC, more than an hour ago", "requote it"
        )
    if row.latest_revision > row.revision:
        latest = f"decide on revision {row.latest_revision}"
        raise DecisionNotUndone(number, row.revision, f"it went on to revision {row.latest_revision}", latest)
    decision = decision_document(row, stands)
    store = UndoStore(resources.database)
    if not store.undo(
        row.number,
        decision.model_dump_json().encode(),
        decided_at=stands.at,
        by=asked.by,
        reason=asked.reason,
        key_id=key_id,
        now=now,
    ):
        raise DecisionNotUndone(number, row.revision, "somebody else has just undone it", "look at the quote again")
    return UndoneDecision(decision=decision, by=asked.by, reason=asked.reason, key_id=key_id, at=now)


def undone_decisions(row_number: str, resources: Resources) -> tuple[UndoneDecision, ...]:
    """What was undone of a revision, oldest first."""
    return tuple(
        UndoneDecision(decision=QuoteDecision.model_validate_json(decision), by=by, reason=reason, key_id=key_id, at=at)
        for decision, by, reason, key_id, at in UndoStore(resources.database).undone(row_number)
    )
