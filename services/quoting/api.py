"""Routes of quoting: quotes for the sales desk, job estimates for the ERP."""

from __future__ import annotations

import base64
import re
import secrets
from collections.abc import AsyncIterator
from datetime import UTC, datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Header, Query, Request, Response
from fastapi.sse import EventSourceResponse, ServerSentEvent

from services.chassis.keys import Caller
from services.chassis.web import Tools, answers, needs_role
from services.quoting import errors
from services.quoting.documents import estimate_document, explanation_document, quote_document, status_now
from services.quoting.follow import statuses
from services.quoting.intake import accept
from services.quoting.store.repository import QuoteStore, StoredQuote
from shared_schemas.problem import Explained
from shared_schemas.quote import (
    Estimate,
    EstimatePage,
    EstimateSummary,
    Explanation,
    Quote,
    QuoteAccepted,
    QuotePage,
    QuoteRequest,
    QuoteStatus,
    QuoteSummary,
)

router = APIRouter()

STATUS: dict[type[Explained], tuple[int, str, str]] = {
    errors.QuotingError: (422, "invalid", "The request has values that cannot be"),
    errors.RequestUnanswerable: (422, "invalid", "The request has values that cannot be"),
    errors.QuoteUnknown: (404, "not-found", "There is no such quote"),
    errors.QuoteNotReady: (404, "not-found", "The quote is not ready"),
    errors.EstimateUnknown: (404, "not-found", "There is no such estimate"),
    errors.CursorUnreadable: (422, "invalid", "The cursor cannot be read"),
    errors.IdempotencyKeyReused: (422, "idempotency-conflict", "The Idempotency-Key was used for another request"),
}

Sales = Annotated[Caller, Depends(needs_role("sales"))]
SalesOrErp = Annotated[Caller, Depends(needs_role("sales", "erp"))]
Erp = Annotated[Caller, Depends(needs_role("erp"))]
Most = Annotated[int, Query(ge=1, le=200, description="Entries on a page.")]


@router.post(
    "/v1/quotes",
    status_code=202,
    summary="Ask for a quote; it is worked out in the background",
    response_model=QuoteAccepted,
    responses=answers("not-json", "invalid", "body-too-large"),
)
def request_quote(
    request: QuoteRequest,
    http: Request,
    answer: Response,
    caller: Sales,
    tools: Tools,
    idempotency_key: Annotated[
        str | None, Header(min_length=1, max_length=200, description="Your own name for this request.")
    ] = None,
) -> QuoteAccepted:
    number, _ = accept(
        request,
        caller=caller.key_id,
        idempotency_key=idempotency_key.strip('"') if idempotency_key else None,
        trace=_trace(http.headers.get("traceparent")),
        now=datetime.now(UTC),
        resources=tools,
    )
    place = f"/v1/quotes/{number}"
    answer.headers["Location"] = place
    answer.headers["Retry-After"] = "1"
    return QuoteAccepted(number=number, status="accepted", links={"self": place})


@router.get("/v1/quotes", summary="Quotes, newest first", response_model=QuotePage, responses=answers("invalid"))
def list_quotes(
    caller: SalesOrErp, tools: Tools, cursor: str | None = None, limit: Most = 50, status: QuoteStatus | None = None
) -> QuotePage:
    rows = QuoteStore(tools.database).page(before=_read_cursor("q", cursor), most=limit + 1, status=status)
    items = tuple(
        QuoteSummary(
            number=row.number,
            revision=row.revision,
            status=status_now(row, tools),
            customer=row.customer,
            title=row.title,
            created_at=row.created_at,
        )
        for row in rows[:limit]
    )
    return QuotePage(items=items, next=_cursor("q", rows[limit - 1].position) if len(rows) > limit else None)


@router.get(
    "/v1/quotes/{number}", summary="One quote, at any moment of its life", response_model=Quote, responses=answers("not-found")
)
def get_quote(number: str, caller: SalesOrErp, tools: Tools) -> Response:
    row = QuoteStore(tools.database).quote(number)
    return Response(quote_document(row, status_now(row, tools)), media_type="application/json")


@router.get(
    "/v1/quotes/{number}/explanation",
    summary="Why a quote costs and takes what it does: figures down to formulas and rate rows",
    response_model=Explanation,
    responses=answers("not-found"),
)
def explain_quote(number: str, caller: Annotated[Caller, Depends(needs_role("sales", "engineer"))], tools: Tools) -> Explanation:
    QuoteStore(tools.database).quote(number)
    return explanation_document(number, tools)


def _known_quote(number: str, caller: Sales, tools: Tools) -> StoredQuote:
    return QuoteStore(tools.database).quote(number)


@router.get(
    "/v1/quotes/{number}/events",
    summary="How far a quote has come, as server-sent events; ends with its outcome",
    response_class=EventSourceResponse,
    responses=answers("not-found"),
)
async def follow_quote(
    known: Annotated[StoredQuote, Depends(_known_quote)],
    tools: Tools,
    last_event_id: Annotated[str | None, Header(description="Where an earlier connection ended.")] = None,
) -> AsyncIterator[ServerSentEvent]:
    seen = int(last_event_id) if last_event_id and last_event_id.isdecimal() and len(last_event_id) < 4 else -1
    async for place, status in statuses(known.number, tools):
        if place > seen:
            yield ServerSentEvent(event=status, id=str(place), data={"number": known.number, "status": status})


@router.get(
    "/v1/estimates",
    summary="Job estimates of ready quotes, oldest first",
    response_model=EstimatePage,
    responses=answers("invalid"),
)
def list_estimates(
    caller: Erp,
    tools: Tools,
    after: Annotated[str | None, Query(description="The `next` of the page before; keep it to ask for what came since.")] = None,
    limit: Most = 50,
) -> EstimatePage:
    start = _read_cursor("e", after)
    rows = QuoteStore(tools.database).feed(after=start or 0, most=limit)
    items = tuple(_summary(row) for row in rows)
    return EstimatePage(items=items, next=_cursor("e", rows[-1].feed_position or 0) if rows else after)


@router.get(
    "/v1/estimates/{number}",
    summary="Routing and bill of materials of one quote",
    response_model=Estimate,
    responses=answers("not-found"),
)
def get_estimate(number: str, caller: Erp, tools: Tools) -> Estimate:
    try:
        row = QuoteStore(tools.database).quote(_quote_number(number))
    except errors.QuoteUnknown as fault:
        raise errors.EstimateUnknown(number) from fault
    if row.body is None:
        raise errors.EstimateUnknown(number)
    return estimate_document(row, number)


def _summary(row: StoredQuote) -> EstimateSummary:
    assert row.finished_at is not None
    return EstimateSummary(
        number="E" + row.number.removeprefix("Q"), quote_number=row.number, title=row.title, finished_at=row.finished_at
    )


def _quote_number(estimate: str) -> str:
    if not estimate.startswith("E-"):
        raise errors.EstimateUnknown(estimate)
    return "Q" + estimate.removeprefix("E")


def _trace(traceparent: str | None) -> str:
    """The trace id of a W3C traceparent header, or a new one."""
    found = re.fullmatch(r"[0-9a-f]{2}-([0-9a-f]{32})-[0-9a-f]{16}-[0-9a-f]{2}", traceparent or "")
    return found.group(1) if found else secrets.token_hex(16)


def _cursor(kind: str, position: int) -> str:
    return base64.urlsafe_b64encode(f"{kind}{position}".encode()).decode().rstrip("=")


def _read_cursor(kind: str, cursor: str | None) -> int | None:
    if cursor is None:
        return None
    try:
        plain = base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)).decode()
        if not re.fullmatch(kind + r"\d{1,18}", plain):
            raise ValueError(plain)
        return int(plain[1:])
    except ValueError as fault:
        raise errors.CursorUnreadable(cursor) from fault
