"""Routes of drafts: several tables changed together, checked, confirmed, and published as one revision."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Annotated, Any

from fastapi import APIRouter, Header, Path, Query, Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.concurrency import run_in_threadpool

from services.chassis.cursors import cursor_at, position_of
from services.chassis.json_bodies import CheckedRoute, document_of
from services.chassis.keys import Caller
from services.chassis.negotiation import is_known, media_type_of
from services.chassis.refusals import Refused
from services.chassis.web import Tools, answers
from services.rates.api_parts import (
    AS_YOU_HAVE_IT,
    CSV,
    JSON,
    Cursor,
    Engineer,
    IfMatch,
    IfNoneMatch,
    Number,
    Table,
    headers_of,
    read_rows,
    shown_table,
    tags_in,
    wanted,
)
from services.rates.domain.row_patch import with_row_patched
from services.rates.errors import TableUnknown
from services.rates.store.draft_publication import Publisher
from services.rates.store.drafts import DraftStore, Writer
from services.rates.store.statements import StoredTable
from shared_schemas.rate_drafts import Draft, DraftCheck, DraftList, DraftRequest, PublishRequest, RebaseRequest
from shared_schemas.rates import TABLES, ProposedRows, TablePage

router = APIRouter(route_class=CheckedRoute)

MERGE_PATCH = "application/merge-patch+json"
OF_A_TABLE: dict[int | str, dict[str, Any]] = {200: {"content": {CSV: {"schema": {"type": "string"}}}}}


def writer_of(caller: Caller) -> Writer:
    """Whoever asks, now, as the one who works on a draft."""
    return Writer(caller.label, caller.key_id, datetime.now(UTC))


def draft_shown(found: tuple[Draft, str], status: int = 200, **headers: str) -> Response:
    """A draft as an answer, with the tag that publishes it."""
    draft, tag = found
    named = {"ETag": f'"{tag}"', "Cache-Control": "private, no-cache", **headers}
    return Response(draft.model_dump_json(), status, media_type=JSON, headers=named)


@router.post(
    "/v1/rates/drafts",
    status_code=201,
    summary="A draft: of the newest revision, or of an old one to bring it back",
    response_model=Draft,
    responses=answers("not-json", "invalid", "rates", "not-found", "conflict", "stale", "body-too-large"),
)
def make_draft(asked: DraftRequest, caller: Engineer, tools: Tools) -> Response:
    """Its tables are those of the newest revision until they are put. With `from_revision` they are those of that one, byte for byte:
    published, the new revision has the digest of the old one. `rows` are changed in it at once: those of `GET /v1/rates/learned` go so into a draft."""
    Publisher(tools.database).bring_into_force(datetime.now(UTC))
    made = DraftStore(tools.database).make(asked, writer_of(caller))
    return draft_shown(made, 201, Location=f"/v1/rates/drafts/{made[0].number}")


@router.get("/v1/rates/drafts", summary="Drafts, newest first", response_model=DraftList, responses=answers("invalid", "gone"))
def list_drafts(
    caller: Engineer,
    tools: Tools,
    cursor: Cursor = None,
    limit: Annotated[int, Query(ge=1, le=100, description="Entries on a page.")] = 50,
) -> DraftList:
    Publisher(tools.database).bring_into_force(datetime.now(UTC))
    found = DraftStore(tools.database).drafts(before=position_of(tools, "d", cursor), most=limit + 1)
    items = tuple(found[:limit])
    return DraftList(items=items, next=cursor_at(tools, "d", items[-1].number) if len(found) > limit else None)


@router.get(
    "/v1/rates/drafts/{number}", summary="A draft; its ETag publishes it", response_model=Draft, responses=answers("not-found", "invalid")
)  # fmt: skip
def get_draft(number: Number, caller: Engineer, tools: Tools) -> Response:
    """The ETag is that of what would be published; a time to come into force does not change it, so a request may be sent again."""
    Publisher(tools.database).bring_into_force(datetime.now(UTC))
    return draft_shown(DraftStore(tools.database).draft(number))


@router.delete(
    "/v1/rates/drafts/{number}", status_code=204, summary="Throw a draft away", responses=answers("not-found", "conflict", "invalid")
)  # fmt: skip
def delete_draft(number: Number, caller: Engineer, tools: Tools) -> None:
    """Also one that waits for its time. One that became a revision stays."""
    DraftStore(tools.database).delete(number)


@router.get(
    "/v1/rates/drafts/{number}/tables/{table}",
    summary="A table as it stands in a draft",
    response_model=TablePage,
    responses={**OF_A_TABLE, **AS_YOU_HAVE_IT, **answers("not-found", "not-acceptable", "invalid")},
)
def get_draft_table(
    number: Number,
    table: Table,
    caller: Engineer,
    tools: Tools,
    accept: Annotated[str, Header()] = JSON,
    if_none_match: IfNoneMatch = None,
) -> Response:
    """`revision` is the one that the draft changes."""
    found = DraftStore(tools.database).table(number, table)
    kind = wanted(accept)
    if is_known(if_none_match, found.digest):
        return Response(status_code=304, headers=headers_of(found))
    return shown_table(found, kind)


@router.put(
    "/v1/rates/drafts/{number}/tables/{table}",
    summary="Replace a table in a draft. Needs If-Match",
    response_model=TablePage,
    responses={**OF_A_TABLE, **answers("not-json", "invalid", "not-found", "if-match-missing", "stale", "conflict", "body-too-large",
                                       "unsupported-media-type", "not-acceptable")},
    openapi_extra={"requestBody": {"required": True, "content": {
        JSON: {"schema": ProposedRows.model_json_schema()}, CSV: {"schema": {"type": "string"}}}}},
)  # fmt: skip
async def put_draft_table(
    number: Number,
    table: Table,
    http: Request,
    caller: Engineer,
    tools: Tools,
    accept: Annotated[str, Header()] = JSON,
    content_type: Annotated[str, Header()] = JSON,
    if_match: IfMatch = None,
) -> Response:
    """Each cell has to be readable now; whether the tables agree is asked when the draft is checked or published."""
    if table not in TABLES:
        raise TableUnknown(table)
    seen, shape = tags_in(if_match, f"Replacing {table}"), wanted(accept)
    body = await http.body()

    def put() -> StoredTable:
        store = DraftStore(tools.database)
        rows = read_rows(table, body, content_type, store.table(number, table).rows)
        return store.put_table(number, table, rows, seen=seen, by=writer_of(caller))

    return shown_table(await run_in_threadpool(put), shape)


@router.patch(
    "/v1/rates/drafts/{number}/tables/{table}/rows/{name:path}",
    summary="Change one row of a draft by a JSON Merge Patch. Needs If-Match",
    response_model=TablePage,
    responses=answers("not-json", "invalid", "not-found", "if-match-missing", "stale", "conflict", "body-too-large",
                      "unsupported-media-type"),
    openapi_extra={"requestBody": {"required": True, "content": {MERGE_PATCH: {"schema": {"type": "object"}}}}},
)  # fmt: skip
async def patch_draft_row(
    number: Number,
    table: Table,
    name: Annotated[str, Path(description="The name of the row.")],
    http: Request,
    caller: Engineer,
    tools: Tools,
    content_type: Annotated[str, Header()] = MERGE_PATCH,
    if_match: IfMatch = None,
) -> Response:
    """If-Match has the ETag of the table in the draft. A field that is null goes back to its default; `name` renames the row."""
    if table not in TABLES:
        raise TableUnknown(table)
    if media_type_of(content_type) not in (MERGE_PATCH, JSON):
        raise Refused("unsupported-media-type", f"A change of a row is sent as {MERGE_PATCH}.", Accept_Patch=MERGE_PATCH)
    seen = tags_in(if_match, f"Changing a row of {table}")
    patch = document_of(await http.body())
    if not isinstance(patch, dict):
        fault = {"type": "dict_type", "loc": ("body",), "msg": "it is no object", "input": patch}
        raise RequestValidationError([fault], body=patch)

    def put() -> StoredTable:
        store = DraftStore(tools.database)
        there = store.table(number, table)
        rows = with_row_patched(table, json.loads(there.rows), name, patch)
        # The table that was read may be another by now: what it was made from has to be both.
        tags = seen & {there.digest} or seen - {there.digest}
        return store.put_table(number, table, rows, seen=tags, by=writer_of(caller))

    return shown_table(await run_in_threadpool(put), JSON)


@router.post(
    "/v1/rates/drafts/{number}/check",
    summary="Everything that stands between a draft and its revision",
    response_model=DraftCheck,
    responses=answers("not-found", "invalid"),
)
def check_draft(number: Number, caller: Engineer, tools: Tools) -> DraftCheck:
    """All faults of all tables at once, what needs to be confirmed, and which tables were changed meanwhile. Nothing is done."""
    return Publisher(tools.database).check(number)


@router.post(
    "/v1/rates/drafts/{number}/publish",
    summary="Publish a draft, now or at a later time. Needs If-Match",
    response_model=Draft,
    responses=answers("not-json", "invalid", "to-confirm", "not-found", "conflict", "if-match-missing", "stale", "body-too-large"),
)
def publish_draft(
    number: Number, caller: Engineer, tools: Tools, asked: PublishRequest | None = None, if_match: IfMatch = None
) -> Response:
    """All its tables come into force as one revision, or none. With `effective_from` it waits until then, and comes into force if the tables
    that it changes are still as they were; otherwise it is `stale`. The same request again changes nothing."""
    seen = tags_in(if_match, f"Publishing draft {number}")
    publisher, by = Publisher(tools.database), writer_of(caller)
    publisher.bring_into_force(by.now)
    return draft_shown(publisher.publish(number, asked or PublishRequest(), seen=seen, by=by))


@router.post(
    "/v1/rates/drafts/{number}/rebase",
    summary="Bring a draft together with the newest revision",
    response_model=Draft,
    responses=answers("not-json", "invalid", "not-found", "conflict", "body-too-large"),
)
def rebase_draft(number: Number, caller: Engineer, tools: Tools, asked: RebaseRequest | None = None) -> Response:
    """Row by row and field by field: what only one of the two changed is taken from it. A draft that waits or is stale is open again."""
    publisher, by = Publisher(tools.database), writer_of(caller)
    publisher.bring_into_force(by.now)
    return draft_shown(publisher.rebase(number, asked or RebaseRequest(), by=by))
