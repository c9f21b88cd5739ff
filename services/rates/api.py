"""Routes of rates: engineers read and replace tables, every process of the suite reads revisions."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Annotated, Any

from fastapi import APIRouter, Header, Path, Query, Request, Response
from starlette.concurrency import run_in_threadpool
from werkzeug.http import parse_etags

from services.chassis.checks import Check
from services.chassis.json_bodies import CheckedRoute
from services.chassis.negotiation import quality
from services.chassis.refusals import Refused
from services.chassis.resources import Resources
from services.chassis.web import Tools, answers
from services.rates import api_proposals, errors
from services.rates.api_parts import CSV, JSON, Engineer, EngineerOrSuite, TableReader, kind_of, read_document, read_rows
from services.rates.domain.table_csv import rows_to_csv, validated_rows
from services.rates.store.repository import RateStore
from services.rates.store.statements import StoredTable
from shared_schemas.problem import Explained
from shared_schemas.rates import TABLES, RateRevision, RateRow, RevisionList, Said, TablePage, TableUpdate

router = APIRouter(route_class=CheckedRoute)
router.include_router(api_proposals.router)

STATUS: dict[type[Explained], tuple[int, str, str]] = {
    errors.RatesError: (422, "invalid", "The request has values that cannot be"),
    errors.TableUnknown: (404, "not-found", "There is no such table"),
    errors.TableUnreadable: (422, "invalid", "The table has cells that cannot be read"),
    errors.TableContradicts: (422, "invalid", "The table contradicts itself or another table"),
    errors.IfMatchUnreadable: (412, "stale", "The header If-Match has no ETag that can be compared"),
    errors.RevisionUnknown: (404, "not-found", "There is no such revision"),
    errors.ProposalUnknown: (404, "not-found", "There is no such proposal"),
    errors.RevisionStale: (412, "stale", "The table was changed meanwhile"),
}


def _lacking(resources: Resources) -> str | None:
    """What the newest rates do not have of what this release needs."""
    found = RateStore(resources.database).shortcomings()
    return f"no: {found.in_words()}" if found is not None and found.gaps else None


def _to_confirm(resources: Resources) -> str | None:
    """Rows of the newest rates that stand as a release added them."""
    found = RateStore(resources.database).shortcomings()
    return f"figures of a release, to be confirmed: {found.to_confirm()}" if found is not None and found.unconfirmed else None


CHECKS = (Check("rates", _lacking, needed=False, kept_s=10.0), Check("rates_added", _to_confirm, needed=False, kept_s=10.0))
"""Quotes that do not rest on what is missing are made all the same, and whoever adds it needs this API: it stays ready."""

Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
Table = Annotated[str, Path(description="One of: " + ", ".join(TABLES) + ".")]
IfNoneMatch = Annotated[str | None, Header(description="The ETag of what you have.")]
AS_YOU_HAVE_IT: dict[int | str, dict[str, Any]] = {304: {"description": "It is as you have it"}}
FOR_EVER = "private, max-age=31536000, immutable"
ASK_AGAIN = "private, no-cache"
"""A table may be kept, and is asked for again with If-None-Match before each use."""


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
    responses={**AS_YOU_HAVE_IT, **answers("not-found", "invalid")},
)
def get_revision(number: Number, caller: EngineerOrSuite, tools: Tools, if_none_match: IfNoneMatch = None) -> Response:
    """A revision never changes: it may be kept for ever."""
    store = RateStore(tools.database)
    digest = store.digest(number)
    headers = {"ETag": f'"{digest}"', "Cache-Control": FOR_EVER}
    if _is_known(if_none_match, digest):
        return Response(status_code=304, headers=headers)
    return Response(store.revision(number), media_type=JSON, headers=headers)


@router.get(
    "/v1/rates/tables/{table}",
    summary="One table; its ETag goes back with a change",
    response_model=TablePage,
    responses={200: {"content": {CSV: {"schema": {"type": "string"}}}}, **AS_YOU_HAVE_IT,
               **answers("not-found", "not-acceptable", "invalid")},
)  # fmt: skip
def get_table(
    table: Table,
    caller: TableReader,
    tools: Tools,
    accept: Annotated[str, Header()] = JSON,
    if_none_match: IfNoneMatch = None,
    revision: Annotated[int | None, Query(ge=1, le=2**31 - 1, description="A revision other than the newest.")] = None,
) -> Response:
    """The ETag is that of the table's rows: a change to another table leaves it as it is."""
    found = RateStore(tools.database).table(table, revision)
    kind = _wanted(accept)
    if _is_known(if_none_match, found.digest):
        return Response(status_code=304, headers=_headers(found))
    return _shown(found, kind)


@router.put(
    "/v1/rates/tables/{table}",
    summary="Replace a table; makes the next revision. Needs If-Match",
    response_model=TablePage,
    responses={200: {"content": {CSV: {"schema": {"type": "string"}}}},
               **answers("not-json", "invalid", "not-found", "if-match-missing", "stale", "body-too-large",
                         "unsupported-media-type", "not-acceptable")},
    openapi_extra={"requestBody": {"required": True, "content": {
        JSON: {"schema": TableUpdate.model_json_schema()}, CSV: {"schema": {"type": "string"}}}}},
)  # fmt: skip
async def put_table(
    table: Table,
    http: Request,
    caller: Engineer,
    tools: Tools,
    accept: Annotated[str, Header()] = JSON,
    content_type: Annotated[str, Header()] = JSON,
    if_match: Annotated[str | None, Header(description="The ETag of the table you changed; * will not do.")] = None,
    reason: Annotated[Said | None, Query(description="Why, when the body is CSV.")] = None,
) -> Response:
    """Send all rows. The same rows again make no revision: the answer then has the number of the one there is.

    A table that leaves a range or an operation without a row is refused; other rows that are gone are named in `dropped`.
    """
    if table not in TABLES:
        raise errors.TableUnknown(table)
    if if_match is None or if_match.strip() in ("", "*"):
        raise Refused("if-match-missing", f"Replacing {table} needs the header If-Match with the ETag that reading it gave.")
    # A weak tag never matches here (RFC 9110, 13.1.1); one without quotes is none, though the parser takes it.
    seen = frozenset(tag for tag in parse_etags(if_match).as_set() if f'"{tag}"' in if_match)
    if not seen:
        raise errors.IfMatchUnreadable(if_match)
    shape = _wanted(accept)
    body = await http.body()

    def publish() -> StoredTable:
        rows, why = _read(table, body, content_type, reason)
        store = RateStore(tools.database)
        return store.publish(table, rows, seen=seen, created_by=caller.label, reason=why, now=datetime.now(UTC))[0]

    return _shown(await run_in_threadpool(publish), shape)


def _read(table: str, body: bytes, content_type: str, reason: str | None) -> tuple[tuple[RateRow, ...], str]:
    """Rows and reason of an update, from JSON or CSV."""
    if kind_of(content_type) == CSV:
        if reason is None:
            raise errors.ReasonMissing(table)
        return read_rows(table, body, content_type), reason
    update = read_document(TableUpdate, body, content_type)
    return validated_rows(table, update.rows), update.reason


def _is_known(if_none_match: str | None, digest: str) -> bool:
    """Whether an If-None-Match header names this digest, weakly or strongly, or takes anything (RFC 9110, 13.1.2)."""
    return parse_etags(if_none_match and if_none_match.strip()).contains_weak(digest)


def _wanted(accept: str) -> str:
    """The representation that a caller likes best, JSON when it likes both the same; raises `Refused` when it takes neither."""
    best = max((JSON, CSV), key=lambda kind: quality(accept, kind))
    if quality(accept, best) <= 0:
        raise Refused("not-acceptable", f"A table can be had as {JSON} or {CSV}.")
    return best


def _headers(found: StoredTable) -> dict[str, str]:
    return {"ETag": f'"{found.digest}"', "Vary": "Accept", "Cache-Control": ASK_AGAIN, "X-Rate-Revision": str(found.revision),
            "X-Rows-Dropped": str(len(found.dropped))}  # fmt: skip


def _shown(found: StoredTable, kind: str) -> Response:
    if kind == CSV:
        rows = validated_rows(found.table, json.loads(found.rows))
        return Response(rows_to_csv(found.table, rows), media_type=CSV, headers=_headers(found))
    head: dict[str, Any] = {"table": found.table, "revision": found.revision}
    head |= {"dropped": found.dropped} if found.dropped else {}
    return Response(json.dumps(head)[:-1].encode() + b',"rows":' + found.rows + b"}", media_type=JSON, headers=_headers(found))
