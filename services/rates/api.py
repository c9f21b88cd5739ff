"""Routes of rates: engineers read and replace tables, every process of the suite reads revisions."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Header, Path, Query, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool

from services.chassis.keys import Caller
from services.chassis.web import Refused, Tools, answers, needs_role
from services.rates import errors
from services.rates.domain.table_csv import rows_from_csv, rows_to_csv, validated_rows
from services.rates.store.repository import RateStore, StoredTable
from shared_schemas.problem import Explained
from shared_schemas.rates import TABLES, RateRevision, RateRow, RevisionList, TablePage, TableUpdate

router = APIRouter()

STATUS: dict[type[Explained], tuple[int, str, str]] = {
    errors.RatesError: (422, "invalid", "The request has values that cannot be"),
    errors.TableUnknown: (404, "not-found", "There is no such table"),
    errors.TableUnreadable: (422, "invalid", "The table has cells that cannot be read"),
    errors.RevisionUnknown: (404, "not-found", "There is no such revision"),
    errors.RevisionStale: (412, "stale", "The table was changed meanwhile"),
}

Engineer = Annotated[Caller, Depends(needs_role("engineer"))]
EngineerOrSuite = Annotated[Caller, Depends(needs_role("engineer", "service"))]
JSON, CSV = "application/json", "text/csv"


@router.get(
    "/v1/rates/revisions", summary="Rate revisions, newest first", response_model=RevisionList, responses=answers("invalid")
)
def list_revisions(
    caller: EngineerOrSuite,
    tools: Tools,
    cursor: Annotated[int | None, Query(ge=1, le=2**31 - 1, description="The `next` of the page before.")] = None,
    limit: Annotated[int, Query(ge=1, le=200, description="Entries on a page.")] = 50,
) -> RevisionList:
    found = RateStore(tools.database).summaries(before=cursor, most=limit + 1)
    items = tuple(found[:limit])
    return RevisionList(items=items, next=str(items[-1].number) if len(found) > limit else None)


@router.get(
    "/v1/rates/revisions/{number}",
    summary="All tables of one revision",
    response_model=RateRevision,
    responses=answers("not-found"),
)
def get_revision(number: Annotated[int, Path(ge=1, le=2**31 - 1)], caller: EngineerOrSuite, tools: Tools) -> Response:
    document = RateStore(tools.database).revision(number)
    return Response(document, media_type=JSON, headers={"Cache-Control": "private, max-age=31536000, immutable"})


@router.get(
    "/v1/rates/tables/{table}",
    summary="One table; its ETag goes back with a change",
    response_model=TablePage,
    responses={200: {"content": {CSV: {"schema": {"type": "string"}}}}, 304: {"description": "It is as you have it"},
               **answers("not-found", "not-acceptable")},
)  # fmt: skip
def get_table(
    table: str,
    caller: EngineerOrSuite,
    tools: Tools,
    accept: Annotated[str, Header()] = JSON,
    if_none_match: Annotated[str | None, Header()] = None,
    revision: Annotated[int | None, Query(ge=1, le=2**31 - 1, description="A revision other than the newest.")] = None,
) -> Response:
    found = RateStore(tools.database).table(table, revision)
    if if_none_match is not None and f'"{found.digest}"' in if_none_match:
        return Response(status_code=304, headers={"ETag": f'"{found.digest}"'})
    return _shown(found, _wanted(accept))


@router.put(
    "/v1/rates/tables/{table}",
    summary="Replace a table; makes the next revision. Needs If-Match",
    response_model=TablePage,
    responses=answers("not-json", "invalid", "not-found", "if-match-missing", "stale", "unsupported-media-type", "not-acceptable"),
    openapi_extra={"requestBody": {"required": True, "content": {
        JSON: {"schema": TableUpdate.model_json_schema()}, CSV: {"schema": {"type": "string"}}}}},
)  # fmt: skip
async def put_table(
    table: str,
    http: Request,
    caller: Engineer,
    tools: Tools,
    accept: Annotated[str, Header()] = JSON,
    content_type: Annotated[str, Header()] = JSON,
    if_match: Annotated[str | None, Header(description="The ETag of the table you changed.")] = None,
    reason: Annotated[str | None, Query(max_length=400, description="Why, when the body is CSV.")] = None,
) -> Response:
    if if_match is None or if_match.strip() == "*":
        raise Refused("if-match-missing", f"Replacing {table} needs the header If-Match with the ETag that reading it gave.")
    if table not in TABLES:
        raise errors.TableUnknown(table)
    shape = _wanted(accept)
    body = await http.body()
    rows, why = await run_in_threadpool(_read, table, body, content_type, reason)
    store = RateStore(tools.database)

    def publish() -> StoredTable:
        seen = if_match.strip().removeprefix("W/").strip('"')
        return store.publish(table, rows, seen=seen, created_by=caller.label, reason=why, now=datetime.now(UTC))[0]

    return _shown(await run_in_threadpool(publish), shape)


def _read(table: str, body: bytes, content_type: str, reason: str | None) -> tuple[tuple[RateRow, ...], str]:
    """Rows and reason of an update, from JSON or CSV."""
    kind = content_type.split(";", maxsplit=1)[0].strip().lower()
    if kind == CSV:
        if not reason or not reason.strip():
            raise errors.ReasonMissing(table)
        return rows_from_csv(table, body.decode("utf-8-sig", errors="replace")), reason.strip()
    if kind != JSON:
        raise Refused("unsupported-media-type", f"A table is sent as {JSON} or {CSV}, not as {kind or 'nothing'}.")
    try:
        document = json.loads(body)
    except (ValueError, RecursionError) as fault:
        raise Refused("not-json", f"The body is not JSON: {str(fault)[:100]}.") from fault
    try:
        update = TableUpdate.model_validate(document)
    except ValidationError as fault:
        raise RequestValidationError(
            [{**error, "loc": ("body", *error["loc"])} for error in fault.errors()], body=document
        ) from fault
    return validated_rows(table, update.rows), update.reason


def _wanted(accept: str) -> str:
    """The representation a caller takes; raises `Refused` when it is none of ours."""
    kinds = [part.split(";")[0].strip().lower() for part in accept.split(",")]
    for kind in kinds:
        if kind in (JSON, "*/*", "application/*"):
            return JSON
        if kind in (CSV, "text/*"):
            return CSV
    raise Refused("not-acceptable", f"A table can be had as {JSON} or {CSV}.")


def _shown(found: StoredTable, kind: str) -> Response:
    headers = {"ETag": f'"{found.digest}"', "Vary": "Accept"}
    if kind == CSV:
        rows = validated_rows(found.table, json.loads(found.rows))
        return Response(rows_to_csv(found.table, rows), media_type=CSV, headers={**headers, "X-Rate-Revision": str(found.revision)})
    head: dict[str, Any] = {"table": found.table, "revision": found.revision}
    return Response(json.dumps(head)[:-1].encode() + b',"rows":' + found.rows + b"}", media_type=JSON, headers=headers)
