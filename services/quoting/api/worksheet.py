"""Routes of the estimator's worksheet and of the second key of a quote that needs one."""

from __future__ import annotations

from threading import Lock
from typing import Annotated, Any

from cachetools import LRUCache
from fastapi import APIRouter, Header, Response
from werkzeug.http import parse_etags

from services.chassis.compute_slots import computes
from services.chassis.json_bodies import CheckedRoute
from services.chassis.negotiation import is_known
from services.chassis.web import Tools, answers
from services.quoting.api.parts import QUOTE_FINISHED, How, Now, Revision, SalesOrEngineer, accepting, quote_answer
from services.quoting.service.approvals import approvals_of, approve
from services.quoting.service.documents import not_ready
from services.quoting.service.worksheet import worksheet_document, worksheet_etag
from services.quoting.service.worksheet_changes import accept_worksheet_change
from services.quoting.store.repository import QuoteStore
from shared_schemas.base import canonical_json
from shared_schemas.quote import QuoteAccepted
from shared_schemas.worksheet import Approval, ApprovalRequest, Worksheet, WorksheetChange

router = APIRouter(route_class=CheckedRoute)

AS_YOU_HAVE_IT: dict[int | str, dict[str, Any]] = {304: {"description": "It is as you have it"}}
_lock = Lock()
_made: LRUCache[str, bytes] = LRUCache(16)
"""Worksheets as they were sent, by their ETag: working one out again takes a second."""


@router.get(
    "/v1/quotes/{number}/worksheet",
    summary="A ready quote as an estimator works on it: routing, minutes, losses and costs, each figure with the pointer by which it is set",
    response_model=Worksheet,
    responses={**AS_YOU_HAVE_IT, **answers("not-found", "invalid", "gone", "conflict")},
)
@computes
def get_worksheet(
    number: str,
    caller: SalesOrEngineer,
    tools: Tools,
    revision: Revision = None,
    if_none_match: Annotated[str | None, Header(description="The ETag of what you have.")] = None,
) -> Response:
    row = QuoteStore(tools.database).quote(number, revision)
    if row.body is None:
        raise not_ready(row)
    etag = worksheet_etag(row, approvals_of(row, tools))
    headers = {"ETag": f'"{etag}"', "Cache-Control": "private, no-cache"}
    if is_known(if_none_match, etag):
        return Response(status_code=304, headers=headers)
    with _lock:
        document = _made.get(etag)
    if document is None:
        document = canonical_json(worksheet_document(row, tools))
        with _lock:
            _made[etag] = document
    return Response(document, media_type="application/json", headers=headers)


@router.patch(
    "/v1/quotes/{number}/worksheet",
    status_code=202,
    summary="Set figures of the worksheet, withdraw or confirm what was set; makes the next revision, at the rates of the latest",
    response_model=QuoteAccepted,
    responses={
        **answers(
            "not-json",
            "invalid",
            "body-too-large",
            "not-found",
            "conflict",
            "gone",
            "stale",
            "too-much-work",
            "too-often",
            "queue-full",
        ),
        **QUOTE_FINISHED,
    },
)
async def change_worksheet(
    number: str,
    asked: WorksheetChange,
    caller: SalesOrEngineer,
    tools: Tools,
    now: Now,
    how: How,
    if_match: Annotated[str | None, Header(description="The ETag of the worksheet that you changed; it may be left out.")] = None,
) -> Response:
    begun, is_new = await accepting(
        accept_worksheet_change,
        number,
        asked,
        caller=caller.key_id,
        tags=frozenset() if if_match is None or if_match.strip() == "*" else frozenset(parse_etags(if_match).as_set()),
        idempotency_key=how.idempotency_key,
        trace=how.trace,
        now=now,
        resources=tools,
    )
    return await quote_answer(begun, is_new=is_new, how=how, now=now, tools=tools)


@router.post(
    "/v1/quotes/{number}/approvals",
    summary="Approve a revision that needs a second key, with another key and name than those that it was changed with",
    response_model=Approval,
    responses=answers("not-json", "invalid", "body-too-large", "not-found", "conflict", "gone"),
)
def approve_quote(number: str, asked: ApprovalRequest, caller: SalesOrEngineer, tools: Tools, now: Now) -> Approval:
    return approve(number, asked, key_id=caller.key_id, now=now, resources=tools)
