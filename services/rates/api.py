"""Routes of rates: engineers read and replace tables, every process of the suite reads revisions."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated

from fastapi import APIRouter, Header, Query, Request, Response
from starlette.concurrency import run_in_threadpool

from services.chassis.checks import Check
from services.chassis.cursors import cursor_at, position_of
from services.chassis.json_bodies import CheckedRoute
from services.chassis.negotiation import is_known
from services.chassis.resources import Resources
from services.chassis.web import Tools, answers
from services.rates import api_archive, api_drafts, api_first_day, api_history, api_proposals, errors
from services.rates.api_parts import (
    AS_YOU_HAVE_IT,
    CONFIRM,
    CSV,
    JSON,
    Cursor,
    Engineer,
    EngineerOrSuite,
    IfNoneMatch,
    Number,
    Table,
    TableReader,
    headers_of,
    kind_of,
    read_document,
    read_rows,
    shown_table,
    tags_in,
    wanted,
)
from services.rates.domain.table_csv import validated_rows
from services.rates.store.draft_publication import Publisher
from services.rates.store.publication import Author
from services.rates.store.repository import RateStore
from services.rates.store.statements import StoredTable
from shared_schemas.problem import Explained
from shared_schemas.rates import TABLES, RateRevision, RateRow, RevisionList, Said, TablePage, TableUpdate

router = APIRouter(route_class=CheckedRoute)
for part in (api_archive, api_proposals, api_drafts, api_first_day, api_history):
    router.include_router(part.router)

STATUS: dict[type[Explained], tuple[int, str, str]] = {
    errors.RatesError: (422, "invalid", "The request has values that cannot be"),
    errors.AnswersUnreadable: (422, "invalid", "There are answers that will not do"),
    errors.TableUnknown: (404, "not-found", "There is no such table"),
    errors.TableUnreadable: (422, "invalid", "The table has cells that cannot be read"),
    errors.TableContradicts: (422, "invalid", "The table contradicts itself or another table"),
    errors.IfMatchUnreadable: (412, "stale", "The header If-Match has no ETag that can be compared"),
    errors.RevisionUnknown: (404, "not-found", "There is no such revision"),
    errors.ProposalUnknown: (404, "not-found", "There is no such proposal"),
    errors.RevisionStale: (412, "stale", "The table was changed meanwhile"),
    errors.RowUnknown: (404, "not-found", "There is no such row"),
    errors.NotConfirmed: (422, "to-confirm", "It needs a second look"),
    errors.DraftUnknown: (404, "not-found", "There is no such draft"),
    errors.DraftStale: (412, "stale", "The draft was changed meanwhile"),
    errors.DraftClosed: (409, "conflict", "The draft is closed"),
    errors.DraftOvertaken: (409, "conflict", "The tables of the draft were changed meanwhile"),
    errors.DraftConflicts: (409, "conflict", "The draft and a later revision changed the same figures"),
    errors.DraftContradicts: (422, "invalid", "The tables of the draft contradict each other or others"),
    errors.DraftsTooMany: (409, "conflict", "There are too many drafts"),
    errors.RevisionLost: (422, "rates", "This release cannot bring that revision back"),
}


def _lacking(resources: Resources) -> str | None:
    """What the newest rates do not have of what this release needs."""
    found = RateStore(resources.database).shortcomings()
    return f"no: {found.in_words()}" if found is not None and found.gaps else None


def _stale(resources: Resources) -> str | None:
    """Drafts that were to come into force and could not."""
    found = Publisher(resources.database).stale()
    return "; ".join(f"draft {number} did not come into force: {why}" for number, why in found) or None


def _to_confirm(resources: Resources) -> str | None:
    """Rows of the newest rates that stand as a release added them."""
    found = RateStore(resources.database).shortcomings()
    return f"figures of a release, to be confirmed: {found.to_confirm()}" if found is not None and found.unconfirmed else None


LARGER_BODIES = api_archive.LARGER_BODIES

CHECKS = (
    Check("rates", _lacking, needed=False, kept_s=10.0),
    Check("rates_added", _to_confirm, needed=False, kept_s=10.0),
    Check("rates_scheduled", _stale, needed=False, kept_s=10.0),
)
"""Quotes that do not rest on what is missing are made all the same, and whoever adds it needs this API: it stays ready."""

FOR_EVER = "private, max-age=31536000, immutable"


@router.get(
    "/v1/rates/revisions", summary="Rate revisions, newest first", response_model=RevisionList, responses=answers("invalid", "gone")
)
def list_rate_revisions(
    caller: EngineerOrSuite,
    tools: Tools,
    cursor: Cursor = None,
    limit: Annotated[int, Query(ge=1, le=200, description="Entries on a page.")] = 50,
) -> RevisionList:
    Publisher(tools.database).bring_into_force(datetime.now(UTC))
    found = RateStore(tools.database).summaries(before=position_of(tools, "r", cursor), most=limit + 1)
    items = tuple(found[:limit])
    if caller.role == "service":
        # Parts of an earlier release may ask while a newer one is rolled out, and know no other fields.
        items = tuple(item.model_copy(update={"created_by_key": None, "draft": None}) for item in items)
    return RevisionList(items=items, next=cursor_at(tools, "r", items[-1].number) if len(found) > limit else None)


@router.get(
    "/v1/rates/revisions/{number}",
    summary="All tables of one revision",
    response_model=RateRevision,
    responses={**AS_YOU_HAVE_IT, **answers("not-found", "invalid")},
)
def get_rate_revision(number: Number, caller: EngineerOrSuite, tools: Tools, if_none_match: IfNoneMatch = None) -> Response:
    """A revision never changes: it may be kept for ever."""
    store = RateStore(tools.database)
    digest = store.digest(number)
    headers = {"ETag": f'"{digest}"', "Cache-Control": FOR_EVER}
    if is_known(if_none_match, digest):
        return Response(status_code=304, headers=headers)
    return Response(store.revision(number), media_type=JSON, headers=headers)


@router.get(
    "/v1/rates/tables/{table}",
    summary="One table; its ETag goes back with a change",
    response_model=TablePage,
    responses={200: {"content": {CSV: {"schema": {"type": "string"}}}}, **AS_YOU_HAVE_IT,
               **answers("not-found", "not-acceptable", "invalid")},
)  # fmt: skip
def get_rate_table(
    table: Table,
    caller: TableReader,
    tools: Tools,
    accept: Annotated[str, Header()] = JSON,
    if_none_match: IfNoneMatch = None,
    revision: Annotated[int | None, Query(ge=1, le=2**31 - 1, description="A revision other than the newest.")] = None,
) -> Response:
    """The ETag is that of the table's rows: a change to another table leaves it as it is."""
    Publisher(tools.database).bring_into_force(datetime.now(UTC))
    found = RateStore(tools.database).table(table, revision)
    kind = wanted(accept)
    if is_known(if_none_match, found.digest):
        return Response(status_code=304, headers=headers_of(found))
    return shown_table(found, kind)


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
async def put_rate_table(
    table: Table,
    http: Request,
    caller: Engineer,
    tools: Tools,
    accept: Annotated[str, Header()] = JSON,
    content_type: Annotated[str, Header()] = JSON,
    if_match: Annotated[str | None, Header(description="The ETag of the table you changed; * will not do.")] = None,
    reason: Annotated[Said | None, Query(description="Why, when the body is CSV.")] = None,
    confirm: Annotated[tuple[str, ...], Query(max_length=1000, description=CONFIRM)] = (),
) -> Response:
    """Send all rows: a draft of one table, published at once. Rows that stand already make no revision, whatever If-Match says.

    A table that leaves a range or an operation without a row is refused. A figure off by more than 3 times, a row that is gone, a glass
    without stock and terms that fall have to be confirmed; rows that are gone are then named in `dropped`.
    """
    if table not in TABLES:
        raise errors.TableUnknown(table)
    seen = tags_in(if_match, f"Replacing {table}")
    shape = wanted(accept)
    body = await http.body()

    def publish() -> StoredTable:
        store = RateStore(tools.database)
        rows, why, confirmed = _read(table, body, content_type, reason, store.table(table).rows)
        now = datetime.now(UTC)
        Publisher(tools.database).bring_into_force(now)
        by = Author(caller.label, why, now, caller.key_id)
        return store.publish(table, rows, seen=seen, by=by, confirmed={*confirmed, *confirm})[0]

    return shown_table(await run_in_threadpool(publish), shape)


def _read(
    table: str, body: bytes, content_type: str, reason: str | None, before: bytes
) -> tuple[tuple[RateRow, ...], str, tuple[str, ...]]:
    """Rows, reason and what is confirmed of an update, from JSON or CSV."""
    if kind_of(content_type) == CSV:
        if reason is None:
            raise errors.ReasonMissing(table)
        return read_rows(table, body, content_type, before), reason, ()
    update = read_document(TableUpdate, body, content_type)
    return validated_rows(table, update.rows), update.reason, update.confirm
