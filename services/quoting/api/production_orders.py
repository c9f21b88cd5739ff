"""One job estimate for the ERP: as JSON in full or to plan from, or a list of it as CSV."""

from __future__ import annotations

from threading import Lock
from typing import Annotated, Any

from cachetools import LRUCache
from fastapi import APIRouter, Header, Query, Response

from services.chassis.compute_slots import computes
from services.chassis.json_bodies import CheckedRoute
from services.chassis.negotiation import is_known, quality
from services.chassis.refusals import Refused
from services.chassis.resources import Resources
from services.chassis.web import Tools, answers
from services.quoting import errors
from services.quoting.api.parts import Erp
from services.quoting.service.documents import not_ready
from services.quoting.service.estimates import estimate_csv, estimate_document, estimate_etag, plan_document
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import StoredQuote
from shared_schemas.base import canonical_json
from shared_schemas.estimate import Estimate, EstimatePart, EstimatePlan, EstimateView

router = APIRouter(route_class=CheckedRoute)

JSON, CSV = "application/json", "text/csv"
IfNoneMatch = Annotated[str | None, Header(description="The ETag of what you have.")]
AS_YOU_HAVE_IT: dict[int | str, dict[str, Any]] = {304: {"description": "It is as you have it"}}
ASK_AGAIN = "private, no-cache"
"""A decision changes an estimate: it may be kept, and is asked for again with If-None-Match before each use."""
_lock = Lock()
_made: LRUCache[str, bytes] = LRUCache(16)
"""Estimates as they were sent, by their ETag: working one out again takes a second."""


@router.get(
    "/v1/estimates/{number}",
    summary="One quote as a production order: operations, materials, tools and days",
    response_model=Estimate | EstimatePlan,
    responses={200: {"content": {CSV: {"schema": {"type": "string"}}}}, **AS_YOU_HAVE_IT,
               **answers("not-found", "gone", "invalid", "not-acceptable")},
)  # fmt: skip
@computes
def get_estimate(
    number: str,
    caller: Erp,
    tools: Tools,
    view: Annotated[
        EstimateView,
        Query(description="`full`: every quantity, with what explains it; `plan`: one quantity, operations in columns."),
    ] = "full",
    quantity: Annotated[
        int | None,
        Query(ge=1, le=10_000_000, description="One of those quoted; without it the one that is ordered, or what the view says."),
    ] = None,
    part: Annotated[EstimatePart, Query(description="Which list, as CSV.")] = "operations",
    accept: Annotated[str, Header()] = JSON,
    if_none_match: IfNoneMatch = None,
) -> Response:
    """Minutes x rates + consumables of the operations are the Operations of the quote to the cent; `total_payable` has the tools."""
    row = _row(number, tools)
    kind = _wanted(accept)
    etag = estimate_etag(row, kind, quantity, part if kind == CSV else view)
    headers = {"ETag": f'"{etag}"', "Vary": "Accept", "Cache-Control": ASK_AGAIN}
    if is_known(if_none_match, etag):
        return Response(status_code=304, headers=headers)
    with _lock:
        document = _made.get(etag)
    if document is None:
        document = _sent(row, number, kind, view, part, quantity, tools)
        with _lock:
            _made[etag] = document
    return Response(document, media_type=kind, headers=headers)


def _sent(
    row: StoredQuote, number: str, kind: str, view: EstimateView, part: EstimatePart, quantity: int | None, tools: Resources
) -> bytes:
    if kind == CSV:
        return estimate_csv(row, part, quantity, tools).encode()
    made = plan_document if view == "plan" else estimate_document
    return canonical_json(made(row, number, quantity, tools))


def _wanted(accept: str) -> str:
    best = max((JSON, CSV), key=lambda kind: quality(accept, kind))
    if quality(accept, best) <= 0:
        raise Refused("not-acceptable", f"An estimate can be had as {JSON}, and its lists as {CSV}.")
    return best


def _row(number: str, tools: Resources) -> StoredQuote:
    """The quote of an estimate; raises `EstimateUnknown` where there is none, and `QuoteArchived`."""
    if not number.startswith("E-"):
        raise errors.EstimateUnknown(number)
    try:
        row = QuoteStore(tools.database).row("Q" + number.removeprefix("E"))
    except errors.QuoteUnknown as fault:
        raise errors.EstimateUnknown(number) from fault
    if row.archived_in is not None:
        raise not_ready(row)
    if row.body is None:
        raise errors.EstimateUnknown(number)
    return row
