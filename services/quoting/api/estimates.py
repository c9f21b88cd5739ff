"""The feed of job estimates that the ERP pulls."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query

from services.chassis.json_bodies import CheckedRoute
from services.chassis.web import Tools, answers
from services.quoting.api.parts import Erp, Most, cursor_of, read_cursor
from services.quoting.service.documents import decision_document
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import StoredQuote
from shared_schemas.quote import EstimatePage, EstimateSummary

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
