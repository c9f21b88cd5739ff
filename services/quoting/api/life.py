"""Routes of a quote's life after it was asked for: requote, decision, comparison."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Response

from services.chassis.json_bodies import CheckedRoute
from services.chassis.web import Tools, answers
from services.quoting.api.parts import QUOTE_FINISHED, How, Now, Reader, Revision, Sales, accepting, quote_answer
from services.quoting.service import cancel
from services.quoting.service.documents import quote_document
from services.quoting.service.intake import accept_requote
from services.quoting.service.life import compare_revisions, decide
from services.quoting.service.undoing import undo
from shared_schemas.quote import Quote, QuoteAccepted, QuoteDecision, UndoneDecision
from shared_schemas.quote_life import Comparison, DecisionRequest, RequoteRequest, UndoRequest

router = APIRouter(route_class=CheckedRoute)


@router.post(
    "/v1/quotes/{number}/requote",
    status_code=202,
    summary="Ask for the next revision of a quote, at today's rates and with changes if there are any",
    response_model=QuoteAccepted,
    responses={
        **answers("not-json", "invalid", "body-too-large", "not-found", "conflict", "too-much-work", "too-often", "queue-full"),
        **QUOTE_FINISHED,
    },
)
async def requote(
    number: str, caller: Sales, tools: Tools, now: Now, how: How, asked: RequoteRequest | None = None
) -> Response:  # fmt: skip
    begun, is_new = await accepting(
        accept_requote,
        number,
        asked or RequoteRequest(),
        caller=caller.key_id,
        idempotency_key=how.idempotency_key,
        trace=how.trace,
        now=now,
        resources=tools,
    )
    return await quote_answer(begun, is_new=is_new, how=how, now=now, tools=tools)


@router.post(
    "/v1/quotes/{number}/decision",
    summary="Record that the customer accepted or declined a quote",
    response_model=QuoteDecision,
    responses=answers("not-json", "invalid", "body-too-large", "not-found", "conflict", "gone"),
)
async def decide_on_quote(number: str, asked: DecisionRequest, caller: Sales, tools: Tools, now: Now) -> QuoteDecision:
    return await accepting(decide, number, asked, key_id=caller.key_id, now=now, resources=tools)


@router.post(
    "/v1/quotes/{number}/decision/undo",
    summary="Take back a decline that was recorded by mistake within the last hour; the quote is open again",
    response_model=UndoneDecision,
    responses=answers("not-json", "invalid", "body-too-large", "not-found", "conflict"),
)
def undo_decision(number: str, asked: UndoRequest, caller: Sales, tools: Tools, now: Now) -> UndoneDecision:
    return undo(number, asked, key_id=caller.key_id, now=now, resources=tools)


@router.delete(
    "/v1/quotes/{number}",
    summary="Cancel a quote that is under way; the revision before it stands again",
    response_model=Quote,
    responses=answers("not-found", "invalid", "conflict"),
)
def cancel_quote(number: str, caller: Sales, tools: Tools, now: Now, revision: Revision = None) -> Response:
    row = cancel.cancel_quote(number, revision, caller=caller, now=now, resources=tools)
    return Response(quote_document(row, "cancelled", today=now.date()), media_type="application/json")


@router.get(
    "/v1/quotes/{number}/compare",
    summary="Two revisions of a quote, line by line, and what made the difference",
    response_model=Comparison,
    responses=answers("not-found", "invalid", "gone"),
)
def compare_quote(
    number: str,
    caller: Reader,
    tools: Tools,
    with_revision: Annotated[int, Query(alias="with", ge=1, le=999_999, description="The revision to compare with.")],
    revision: Revision = None,
) -> Comparison:
    return compare_revisions(number, with_revision=with_revision, revision=revision, resources=tools)
