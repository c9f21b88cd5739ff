"""Stored rows as the documents that callers see. A quote's body is passed on as the bytes that were stored."""

from __future__ import annotations

import json
import logging
from datetime import date
from typing import cast

import redis
from pydantic import ValidationError

from services.chassis.load_source import pinned_snapshot
from services.chassis.rate_source import RevisionOutgrown
from services.chassis.resources import Resources
from services.quoting.errors import PlansDisagree, QuoteArchived, QuoteNotReady
from services.quoting.explain.as_quoted import as_quoted, explains
from services.quoting.explain.basis import explain
from services.quoting.explain.figure_at import figure_at
from services.quoting.pricing.second_key import NEEDS_SECOND_KEY
from services.quoting.service.runs import job_of
from services.quoting.store import rows
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import Decision, Start, StoredQuote
from shared_schemas.blanks import BlankPlan
from shared_schemas.check import Finding
from shared_schemas.figure import PointedFigure
from shared_schemas.operations import OperationPlan
from shared_schemas.pipeline import STATIONS
from shared_schemas.problem import Problem
from shared_schemas.quote import (
    ApprovalState,
    Explanation,
    Quote,
    QuoteBody,
    QuoteDecision,
    QuoteState,
    QuoteStatus,
    UndoneDecision,
)
from shared_schemas.rates import RateMissing

log = logging.getLogger(__name__)


def status_now(row: StoredQuote, resources: Resources) -> QuoteStatus:
    """The status of a quote at this moment: an accepted one is where its traveller is."""
    if row.status != "accepted":
        return cast(QuoteStatus, row.status)
    try:
        stamped = resources.travellers.stamped(row.number, row.attempt)
    except redis.RedisError:
        return "accepted"
    if "job" not in stamped:
        return "accepted"
    here = next(station for station in STATIONS if station.section not in stamped)
    return cast(QuoteStatus, here.status)


def state_of(row: StoredQuote, *, today: date) -> QuoteState | None:
    """Where a ready quote stands with the customer on that day: what was decided, or else whether it is still valid."""
    if row.decision is not None:
        return cast(QuoteState, row.decision.decision)
    if row.status != "ready":
        return None
    return "expired" if row.valid_until is not None and row.valid_until < today else "open"


def decision_document(row: StoredQuote, decision: Decision) -> QuoteDecision:
    """A decision on a revision as callers see it, with what became of the order."""
    document = rows.decision_document(row.quote_number, row.revision, decision)
    return document.model_copy(update={"order_state": row.order_state}) if row.order_state else document


def findings_of(row: StoredQuote, *codes: str) -> list[Finding]:
    """The findings of these kinds in the body of a ready revision."""
    body = row.body or b""
    # A quote is asked for far more often than one needs a second key: most are told from their bytes.
    if not any(code.encode() in body for code in codes):
        return []
    return [Finding.model_validate(one) for one in json.loads(body)["findings"] if one["code"] in codes]


def state_of_approval(row: StoredQuote) -> ApprovalState | None:
    """Whether a revision waits for a second key or has it, `None` where it needs none."""
    if row.approval is not None:
        return "given"
    return "needed" if findings_of(row, *NEEDS_SECOND_KEY) else None


def quote_document(
    row: StoredQuote, status: QuoteStatus, *, today: date, undone: tuple[UndoneDecision, ...] = ()
) -> bytes:  # fmt: skip
    """The quote as JSON, with the decisions on it that were undone; what was worked out goes in as it was stored, byte for byte. Raises `QuoteArchived`."""
    if row.archived_in is not None:
        raise not_ready(row)
    head = Quote(
        number=row.quote_number,
        revision=row.revision,
        latest_revision=row.latest_revision,
        status=status,
        state=state_of(row, today=today),
        decision=decision_document(row, row.decision) if row.decision else None,
        undone_decisions=undone,
        approval=state_of_approval(row),
        attempt=row.attempt,
        created_at=row.created_at,
        finished_at=row.finished_at,
        customer=row.customer,
        reference=row.reference,
        digest=row.digest,
        problem=Problem.model_validate_json(row.problem) if row.problem else None,
        rate_revision=row.rate_revision,
        load_snapshot=row.load_snapshot,
    )
    if row.body is None:
        return head.model_dump_json().encode()
    return head.model_dump_json(exclude=set(QuoteBody.model_fields))[:-1].encode() + b"," + row.body[1:]


def not_ready(row: StoredQuote) -> QuoteNotReady | QuoteArchived:
    """Why a quote has no figures: where it stands, and the reasons of a refusal or failure; or the archive that has them."""
    if row.archived_in is not None:
        return QuoteArchived(row.quote_number, row.revision, row.archived_in)
    reasons = Problem.model_validate_json(row.problem).errors if row.problem else ()
    return QuoteNotReady(row.quote_number, row.revision, "under way" if row.status == "accepted" else row.status, reasons)


def explanation_document(row: StoredQuote, resources: Resources) -> Explanation:
    """What lies behind a ready quote, worked out again from what it was made of; raises `QuoteNotReady` for any other.

    Where this release does not come to the prices that were quoted, the quote is of an earlier one and answers with its own figures.
    """
    kept = QuoteStore(resources.database).sections(row.number)
    if kept is None or row.body is None:
        raise not_ready(row)
    body = QuoteBody.model_validate_json(row.body)
    try:
        explanation = _worked_out_again(*kept, resources)
    except (RevisionOutgrown, RateMissing, PlansDisagree, ValidationError, LookupError, ArithmeticError) as fault:
        log.warning("a quote of an earlier release cannot be worked out again", extra={"number": row.number, "why": str(fault)})
        return as_quoted(body)
    return explanation if explains(explanation, body) else as_quoted(body)


def _worked_out_again(begun: Start, blanks: bytes, operations: bytes, resources: Resources) -> Explanation:
    load = pinned_snapshot(resources.load, begun.load_snapshot)
    return explain(
        job=job_of(begun),
        blanks=BlankPlan.model_validate_json(blanks),
        operations=OperationPlan.model_validate_json(operations),
        rates=resources.rates.revision(begun.rate_revision).rates,
        load=None if load is None else load.without(begun.quote_number),
    )


def figure_document(row: StoredQuote, pointer: str, resources: Resources) -> PointedFigure:
    """What stands at a pointer of a ready quote, and what lies behind it; raises `QuoteNotReady` and `PointerNamesNoFigure`."""
    if row.body is None:
        raise not_ready(row)
    document = {"number": row.quote_number, "revision": row.revision, "digest": row.digest, **json.loads(row.body)}
    return figure_at(pointer=pointer, document=document, explained=lambda: explanation_document(row, resources).breaks)
