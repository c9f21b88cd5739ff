"""Routes of the audit log, for administrators: read by the page, or whole as JSON Lines."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query
from fastapi.responses import StreamingResponse

from services.chassis.audit import AuditLog
from services.chassis.json_bodies import CheckedRoute
from services.chassis.keys import Caller
from services.chassis.web import Tools, answers, needs_role
from shared_schemas.audit import AuditPage

router = APIRouter(route_class=CheckedRoute)

Admin = Annotated[Caller, Depends(needs_role())]
LINES = "application/jsonl"
HIGHEST = 2**63 - 1
After = Annotated[int | None, Query(ge=0, le=HIGHEST, description="Entries from above this number on, oldest first.")]
AS_LINES: dict[int | str, dict[str, Any]] = {
    200: {"content": {LINES: {"schema": {"type": "string"}}}, "description": "An entry a line"}
}


@router.get("/v1/audit", summary="The audit log, newest first", response_model=AuditPage, responses=answers("invalid"))
def read_audit(
    caller: Admin,
    tools: Tools,
    cursor: Annotated[int | None, Query(ge=1, le=HIGHEST, description="The `next` of the page before.")] = None,
    after: After = None,
    limit: Annotated[int, Query(ge=1, le=1000, description="Entries on a page.")] = 50,
    action: Annotated[str | None, Query(max_length=60, description="Only this action, such as rates.publish.")] = None,
    subject: Annotated[str | None, Query(max_length=200, description="Only what was done to this, such as Q-2026-000001.")] = None,
    key: Annotated[str | None, Query(max_length=60, description="Only what the key of this id did.")] = None,
) -> AuditPage:
    """With `after` the oldest come first, and `next` is the `after` of the page that follows."""
    chosen = {"action": action, "subject": subject, "by": key}
    found = AuditLog(tools.database).page(before=cursor, after=after, most=limit + 1, **chosen)
    return AuditPage(items=tuple(found[:limit]), next=str(found[limit - 1].number) if len(found) > limit else None)


@router.get(
    "/v1/audit/export",
    summary="The whole audit log as JSON Lines, oldest first",
    response_class=StreamingResponse,
    responses={**AS_LINES, **answers("invalid")},
)
def export_audit(caller: Admin, tools: Tools, after: After = None) -> StreamingResponse:
    """Each line is an entry with its hash; how the hash comes about stands in the schema of an entry."""

    def lines() -> Iterator[str]:
        for entry in AuditLog(tools.database).entries(after=after or 0):
            yield entry.model_dump_json() + "\n"

    return StreamingResponse(lines(), media_type=LINES)
