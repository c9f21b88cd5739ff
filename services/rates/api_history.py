"""Routes of history: what differs between revisions, and what became of one row."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Query

from services.chassis.cursors import cursor_at, position_of
from services.chassis.json_bodies import CheckedRoute
from services.chassis.web import Tools, answers
from services.rates.api_parts import Cursor, Engineer, Number, Table
from services.rates.store.history import RateHistory
from shared_schemas.rate_history import RateDifference, RowHistory

router = APIRouter(route_class=CheckedRoute)


@router.get(
    "/v1/rates/revisions/{number}/diff",
    summary="What differs from one revision to another, field by field",
    response_model=RateDifference,
    responses=answers("not-found", "invalid"),
)
def diff_rate_revisions(
    number: Number,
    caller: Engineer,
    tools: Tools,
    to: Annotated[int | None, Query(ge=1, le=2**31 - 1, description="The other revision, the newest unless told.")] = None,
) -> RateDifference:
    return RateHistory(tools.database).between(number, to)


@router.get(
    "/v1/rates/drafts/{number}/diff",
    summary="What a draft changes, field by field",
    response_model=RateDifference,
    responses=answers("not-found", "invalid"),
)
def diff_draft(number: Number, caller: Engineer, tools: Tools) -> RateDifference:
    return RateHistory(tools.database).of_draft(number)


@router.get(
    "/v1/rates/tables/{table}/rows/{name:path}/history",
    summary="Who changed a row, when and why, newest first",
    response_model=RowHistory,
    responses=answers("not-found", "invalid", "gone"),
)
def get_row_history(
    table: Table,
    name: Annotated[str, Path(description="The name of the row.")],
    caller: Engineer,
    tools: Tools,
    cursor: Cursor = None,
    limit: Annotated[int, Query(ge=1, le=100, description="Entries on a page.")] = 50,
) -> RowHistory:
    """A row that was renamed is followed back under its earlier name."""
    before = position_of(tools, "w", cursor)
    items, last = RateHistory(tools.database).of_row(table, name, before=before, most=limit)
    return RowHistory(table=table, row=name, items=tuple(items), next=None if last is None else cursor_at(tools, "w", last))
