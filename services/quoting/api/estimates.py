"""Routes of the job estimates that the ERP pulls."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query

from services.chassis.json_bodies import CheckedRoute
from services.chassis.web import Tools, answers
from services.quoting import errors
from services.quoting.api.parts import Erp, Most, cursor_of, read_cursor
from services.quoting.service.documents import decision_document, estimate_document, not_ready
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import StoredQuote
from shared_schemas.quote import Estimate, EstimatePage, EstimateSummary

router = APIRouter(route_class=CheckedRoute)


@router.get(
    "/v1/estimates",
    summary="Job estimates of ready quotes, oldest first",
    response_model=EstimatePage,
    responses=answers("invalid", "gone"),
)
def list_estimates(
    caller: Erp,
    tools: Tools,
    after: Annotated[str | None, Query(description="The `next` of the page before; keep it to ask for what came since.")] = None,
    limit: Most = 50,
) -> EstimatePage:
    start = read_cursor(tools, "e", after)
    rows = QuoteStore(tools.database).feed(after=start or 0, most=limit)
    items = tuple(_summary(row) for row in rows)
    return EstimatePage(items=items, next=cursor_of(tools, "e", rows[-1].feed_position or 0) if rows else after)


@router.get(
    "/v1/estimates/{number}",
    summary="Routing and bill of materials of one quote",
    response_model=Estimate,
    responses=answers("not-found", "gone"),
)
def get_estimate(number: str, caller: Erp, tools: Tools) -> Estimate:
    try:
        row = QuoteStore(tools.database).row(_row_number(number))
    except errors.QuoteUnknown as fault:
        raise errors.EstimateUnknown(number) from fault
    if row.archived_in is not None:
        raise not_ready(row)
    if row.body is None:
        raise errors.EstimateUnknown(number)
    return estimate_document(row, number)


def _summary(row: StoredQuote) -> EstimateSummary:
    assert row.finished_at is not None
    return EstimateSummary(
        number="E" + row.number.removeprefix("Q"),
        quote_number=row.quote_number,
        revision=row.revision,
        title=row.title,
        finished_at=row.finished_at,
        decision=decision_document(row, row.decision) if row.decision else None,
    )


def _row_number(estimate: str) -> str:
    if not estimate.startswith("E-"):
        raise errors.EstimateUnknown(estimate)
    return "Q" + estimate.removeprefix("E")
