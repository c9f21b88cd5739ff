"""Routes of the whole of the tables: what they are for, what their columns mean, all of them out in one file and into a draft."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Any

from fastapi import APIRouter, Header, Query, Request, Response
from starlette.concurrency import run_in_threadpool

from services.chassis.json_bodies import CheckedRoute
from services.chassis.negotiation import media_type_of, quality
from services.chassis.refusals import Refused
from services.chassis.web import Tools, answers
from services.rates.api_drafts import draft_shown, writer_of
from services.rates.api_parts import Engineer, Table
from services.rates.domain.columns import columns_of, table_infos
from services.rates.domain.revision import tables_of
from services.rates.errors import TableUnknown
from services.rates.store.draft_publication import Publisher
from services.rates.store.drafts import DraftStore
from services.rates.store.repository import RateStore
from services.rates.tables_archive import packed, tables_in
from services.rates.workbook import workbook_of
from shared_schemas.base import Name
from shared_schemas.rate_drafts import Draft, DraftRequest
from shared_schemas.rate_row import Said
from shared_schemas.rate_tables import ColumnInfoList, TableInfoList
from shared_schemas.rates import TABLES

router = APIRouter(route_class=CheckedRoute)

ZIP, XLSX = "application/zip", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
OCTETS = "application/octet-stream"
"""What a caller that knows no better name sends either of them as; the file itself says which it is."""

INTO_A_DRAFT = "/v1/rates/drafts/from-archive"
LARGER_BODIES = {INTO_A_DRAFT: 8 * 1024 * 1024}
BYTES: dict[str, Any] = {"schema": {"type": "string", "format": "binary"}}
OldRevision = Annotated[int | None, Query(ge=1, le=2**31 - 1, description="A revision other than the newest.")]


@router.get(
    "/v1/rates/tables", summary="Every table: what it is for, its rows by origin", response_model=TableInfoList, responses=answers()
)
def list_rate_tables(caller: Engineer, tools: Tools) -> TableInfoList:
    Publisher(tools.database).bring_into_force(datetime.now(UTC))
    head, rates = RateStore(tools.database).rates()
    return TableInfoList(revision=head.number, items=table_infos(rates))


@router.get(
    "/v1/rates/tables/{table}/columns",
    summary="What each column of a table means",
    response_model=ColumnInfoList,
    responses=answers("not-found"),
)
def list_rate_columns(table: Table, caller: Engineer) -> ColumnInfoList:
    if table not in TABLES:
        raise TableUnknown(table)
    return columns_of(table)


@router.get(
    "/v1/rates/archive",
    summary="All tables in one file: a zip of CSV, or a spreadsheet by Accept",
    response_class=Response,
    responses={200: {"content": {ZIP: BYTES, XLSX: BYTES}}, **answers("not-found", "not-acceptable", "invalid")},
)
def get_rate_archive(
    caller: Engineer, tools: Tools, accept: Annotated[str, Header()] = ZIP, revision: OldRevision = None
) -> Response:
    """It goes back with POST /v1/rates/drafts/from-archive, also when only some of its tables are left in it."""
    best = max((ZIP, XLSX), key=lambda kind: quality(accept, kind))
    if quality(accept, best) <= 0:
        raise Refused("not-acceptable", f"The tables can be had as {ZIP} or {XLSX}.")
    Publisher(tools.database).bring_into_force(datetime.now(UTC))
    head, rates = RateStore(tools.database).rates(revision)
    said = {"revision": head.number, "digest": head.digest, "created_at": head.created_at.astimezone(UTC).isoformat()}
    content = packed(tables_of(rates), said) if best == ZIP else workbook_of(tables_of(rates))
    ending = "zip" if best == ZIP else "xlsx"
    named = f'attachment; filename="rates-{head.number}.{ending}"'
    return Response(
        content, media_type=best, headers={"Content-Disposition": named, "X-Rate-Revision": str(head.number), "Vary": "Accept"}
    )


@router.post(
    INTO_A_DRAFT,
    status_code=201,
    summary="A draft from a zip of CSV or a spreadsheet",
    response_model=Draft,
    responses=answers("invalid", "conflict", "body-too-large", "unsupported-media-type"),
    openapi_extra={"requestBody": {"required": True, "content": {ZIP: BYTES, XLSX: BYTES, OCTETS: BYTES}}},
)
async def make_draft_from_archive(
    http: Request,
    caller: Engineer,
    tools: Tools,
    reason: Annotated[Said, Query(description="Why.")],
    name: Annotated[Name, Query(description="What the draft is called.")] = "from an archive",
    content_type: Annotated[str, Header()] = ZIP,
) -> Response:
    """Tables that are not in it stay as they are. Every wrong cell of every table is named at once, and no draft is made then."""
    if media_type_of(content_type) not in (ZIP, XLSX, OCTETS):
        raise Refused("unsupported-media-type", f"The tables are sent as {ZIP} or {XLSX}.", Accept=f"{ZIP}, {XLSX}, {OCTETS}")
    content = await http.body()

    def made() -> Response:
        by = writer_of(caller)
        Publisher(tools.database).bring_into_force(by.now)
        _, rates = RateStore(tools.database).newest()
        before = {
            table: [row.model_dump(mode="json", by_alias=True) for row in rows] for table, rows in tables_of(rates).items()
        }  # fmt: skip
        rows = tables_in(content, before)
        store = DraftStore(tools.database)
        draft, _ = store.make(DraftRequest(name=name, reason=reason), by)
        store.put_tables(draft.number, rows, seen={}, by=by)
        return draft_shown(store.draft(draft.number), 201, Location=f"/v1/rates/drafts/{draft.number}")

    return await run_in_threadpool(made)
