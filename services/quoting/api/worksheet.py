"""Routes of the estimator's worksheet and of the second key of a quote that needs one."""

from __future__ import annotations

from threading import Lock
from typing import Annotated, Any

from cachetools import LRUCache
from fastapi import APIRouter, Header, Response

from services.chassis.compute_slots import computes
from services.chassis.json_bodies import CheckedRoute
from services.chassis.negotiation import is_known
from services.chassis.web import Tools, answers
from services.quoting.api.parts import Now, Revision, SalesOrEngineer
from services.quoting.service.approvals import approvals_of, approve
from services.quoting.service.documents import not_ready
from services.quoting.service.worksheet import worksheet_document, worksheet_etag
from services.quoting.store.repository import QuoteStore
from shared_schemas.base import canonical_json
from shared_schemas.worksheet import Approval, ApprovalRequest, Worksheet

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


@router.post(
    "/v1/quotes/{number}/approvals",
    summary="Approve a revision that needs a second key, with another key and name than those that it was changed with",
    response_model=Approval,
    responses=answers("not-json", "invalid", "body-too-large", "not-found", "conflict", "gone"),
)
def approve_quote(number: str, asked: ApprovalRequest, caller: SalesOrEngineer, tools: Tools, now: Now) -> Approval:
    return approve(number, asked, key_id=caller.key_id, now=now, resources=tools)
