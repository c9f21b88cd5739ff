"""Routes of quoting: quotes and their sheets for the sales desk. Those of later life, of bulk and of the ERP stand in files of their own."""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Annotated

from fastapi import APIRouter, Depends, Header, Query, Response
from fastapi.sse import EventSourceResponse, ServerSentEvent

from services.chassis import audit_routes, key_routes
from services.chassis.json_bodies import CheckedRoute
from services.chassis.web import Tools, answers
from services.quoting import change_errors, errors, follow_up_errors, offer_errors, webhook_errors, worksheet_errors
from services.quoting.api import (
    archive,
    batches,
    customer_answers,
    estimate_stream,
    estimates,
    findings,
    handovers,
    impact,
    job_sheet,
    letterhead,
    life,
    offers,
    operators,
    production_orders,
    promise,
    quote_list,
    readiness,
    sections,
    ubl,
    webhooks,
    what_if,
    win_rate,
    worksheet,
)
from services.quoting.api.parts import (
    QUOTE_FINISHED,
    How,
    Now,
    Reader,
    Revision,
    Sales,
    SalesOrEngineer,
    accepting,
    quote_answer,
)
from services.quoting.service.documents import (
    explanation_document,
    figure_document,
    quote_document,
    status_now,
)
from services.quoting.service.follow import statuses
from services.quoting.service.intake import accept
from services.quoting.service.undoing import undone_decisions
from services.quoting.store.life import LifeStore
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import StoredQuote
from services.shop.errors import ShopError
from shared_schemas.figure import PointedFigure
from shared_schemas.problem import Explained
from shared_schemas.quote import Explanation, Quote, QuoteAccepted
from shared_schemas.quote_request import QuoteRequest

router = APIRouter(route_class=CheckedRoute)
for part in (
    quote_list,
    life,
    what_if,
    archive,
    batches,
    estimates,
    estimate_stream,
    production_orders,
    ubl,
    sections,
    handovers,
    webhooks,
    impact,
    readiness,
    win_rate,
    operators,
    promise,
    worksheet,
    job_sheet,
    offers,
    letterhead,
    customer_answers,
    findings,
    key_routes,
    audit_routes,
):
    router.include_router(part.router)

LARGER_BODIES = batches.LARGER_BODIES | archive.LARGER_BODIES
FIGURES = operators.figures

STATUS: dict[type[Explained], tuple[int, str, str]] = {
    ShopError: (422, "rates", "The rates cannot answer this"),
    errors.QuotingError: (422, "invalid", "The request has values that cannot be"),
    errors.RequestUnanswerable: (422, "invalid", "The request has values that cannot be"),
    errors.QuoteUnknown: (404, "not-found", "There is no such quote"),
    errors.RevisionUnknown: (404, "not-found", "The quote has no such revision"),
    errors.BatchUnknown: (404, "not-found", "There is no such batch"),
    errors.ImpactUnknown: (404, "not-found", "There is no such impact"),
    errors.QuoteNotReady: (404, "not-found", "The quote is not ready"),
    errors.QuoteInWork: (409, "conflict", "A revision is under way"),
    errors.QuoteNotIssued: (409, "conflict", "There is nothing to decide on"),
    errors.QuoteExpired: (409, "conflict", "The quote has expired"),
    errors.DecisionStands: (409, "conflict", "It was decided otherwise"),
    errors.NothingToChange: (409, "conflict", "There is no such order to change"),
    errors.OrderOver: (409, "conflict", "The order has ended"),
    errors.QuantityNotQuoted: (422, "invalid", "That quantity was not quoted"),
    errors.OrderNotPlaced: (409, "conflict", "There is no order"),
    errors.EstimateUnknown: (404, "not-found", "There is no such estimate"),
    errors.CursorUnreadable: (422, "invalid", "The cursor cannot be read"),
    errors.CursorOfAnotherEpoch: (410, "gone", "The cursor is of before a restore"),
    errors.CursorOfTheFuture: (410, "gone", "The cursor is of no page of this feed"),
    errors.QuoteArchived: (410, "gone", "The quote is archived"),
    errors.IdempotencyKeyReused: (422, "idempotency-conflict", "The Idempotency-Key was used for another request"),
    errors.PointerNamesNoFigure: (404, "not-found", "The pointer names no figure"),
    errors.QueueFull: (503, "queue-full", "The queue is full"),
    errors.KeyHasEnough: (429, "too-often", "This key has enough under way"),
    errors.TooMuchWork: (422, "too-much-work", "It is more work than one quote may be"),
    errors.NothingToCancel: (409, "conflict", "There is nothing to cancel"),
    errors.LetterUnknown: (404, "not-found", "There is no such dead letter"),
    errors.ReplayOfNoUse: (409, "conflict", "A replay would not help"),
    errors.LetterNotReplayable: (409, "not-replayable", "The quote has not failed"),
    **change_errors.STATUS,
    **follow_up_errors.STATUS,
    **webhook_errors.STATUS,
    **worksheet_errors.STATUS,
    **offer_errors.STATUS,
}


@router.post(
    "/v1/quotes",
    status_code=202,
    summary="Ask for a quote; it is worked out in the background",
    response_model=QuoteAccepted,
    responses={**answers("not-json", "invalid", "too-much-work", "body-too-large", "too-often", "queue-full"), **QUOTE_FINISHED},
)
async def request_quote(request: QuoteRequest, caller: Sales, tools: Tools, now: Now, how: How) -> Response:
    begun, is_new = await accepting(
        accept,
        request,
        caller=caller.key_id,
        idempotency_key=how.idempotency_key,
        trace=how.trace,
        now=now,
        resources=tools,
    )
    return await quote_answer(begun, is_new=is_new, how=how, now=now, tools=tools)


@router.get(
    "/v1/quotes/{number}",
    summary="One quote, at any moment of its life",
    response_model=Quote,
    responses=answers("not-found", "invalid", "gone"),
)
def get_quote(number: str, caller: Reader, tools: Tools, now: Now, revision: Revision = None) -> Response:
    row = QuoteStore(tools.database).quote(number, revision)
    undone = undone_decisions(row.number, tools) if row.status == "ready" else ()
    return Response(quote_document(row, status_now(row, tools), today=now.date(), undone=undone), media_type="application/json")


@router.get(
    "/v1/quotes/{number}/request",
    summary="What a quote was asked as: lens, quantities and terms",
    response_model=QuoteRequest,
    responses=answers("not-found", "invalid", "gone"),
)
def get_request(number: str, caller: SalesOrEngineer, tools: Tools, revision: Revision = None) -> Response:
    row = QuoteStore(tools.database).quote(number, revision)
    return Response(LifeStore(tools.database).request_of(row.number), media_type="application/json")


@router.get(
    "/v1/quotes/{number}/explanation",
    summary="Why a quote costs and takes what it does: figures down to formulas and rate rows",
    response_model=PointedFigure | Explanation,
    responses=answers("not-found", "invalid", "gone"),
)
def explain_quote(
    number: str,
    caller: SalesOrEngineer,
    tools: Tools,
    revision: Revision = None,
    of: Annotated[
        str | None, Query(max_length=400, description="JSON pointer of one figure of the quote, such as /breaks/0/unit_price.")
    ] = None,
) -> PointedFigure | Explanation:
    row = QuoteStore(tools.database).quote(number, revision)
    return explanation_document(row, tools) if of is None else figure_document(row, of, tools)


def _known_quote(number: str, caller: SalesOrEngineer, tools: Tools, revision: Revision = None) -> StoredQuote:
    return QuoteStore(tools.database).quote(number, revision)


@router.get(
    "/v1/quotes/{number}/events",
    summary="How far a quote has come, as server-sent events; ends with its outcome",
    response_class=EventSourceResponse,
    responses=answers("not-found", "gone"),
)
async def follow_quote(
    known: Annotated[StoredQuote, Depends(_known_quote)],
    tools: Tools,
    last_event_id: Annotated[str | None, Header(description="Where an earlier connection ended.")] = None,
) -> AsyncIterator[ServerSentEvent]:
    seen = int(last_event_id) if last_event_id and last_event_id.isdecimal() and len(last_event_id) < 4 else -1
    async for place, status in statuses(known.number, tools):
        if place > seen:
            yield ServerSentEvent(event=status, id=str(place), data={"number": known.quote_number, "status": status})
