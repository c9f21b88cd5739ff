"""Routes of proposals: a table that is not published, for working out what it would do."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Any

from fastapi import APIRouter, Header, Path, Query, Request, Response
from starlette.concurrency import run_in_threadpool

from services.chassis.json_bodies import CheckedRoute
from services.chassis.web import Tools, answers
from services.rates.api_parts import CSV, JSON, EngineerOrSuite, read_rows
from services.rates.errors import TableOrDraft, TableUnknown
from services.rates.store.draft_publication import Publisher
from services.rates.store.proposals import ProposalStore
from shared_schemas.rate_impact import RateProposal
from shared_schemas.rates import TABLES, ProposedRows, RateRevision, Said

router = APIRouter(route_class=CheckedRoute)


@router.post(
    "/v1/rates/proposals",
    status_code=201,
    summary="Keep a table or a draft as a proposal, which is never in force",
    response_model=RateProposal,
    responses=answers("not-json", "invalid", "not-found", "conflict", "body-too-large", "unsupported-media-type"),
    openapi_extra={"requestBody": {"required": False, "content": {
        JSON: {"schema": ProposedRows.model_json_schema()}, CSV: {"schema": {"type": "string"}}}}},
)  # fmt: skip
async def propose_rates(
    http: Request,
    caller: EngineerOrSuite,
    tools: Tools,
    table: Annotated[str | None, Query(description="One of: " + ", ".join(TABLES) + ".")] = None,
    draft: Annotated[
        int | None, Query(ge=1, le=2**31 - 1, description="A draft in place of a table; the body is empty then.")
    ] = None,
    content_type: Annotated[str, Header()] = JSON,
    by: Annotated[Said | None, Query(description="For whom, where a part of the suite asks.")] = None,
) -> Response:
    """The rows are looked at as those of a change are. A proposal is forgotten after some days."""
    if (table is None) == (draft is None):
        raise TableOrDraft
    if table is not None and table not in TABLES:
        raise TableUnknown(table)
    body = await http.body()

    def kept() -> RateProposal:
        who = by if by and caller.role == "service" else caller.label
        now, days = datetime.now(UTC), tools.settings.proposals_kept_days
        Publisher(tools.database).bring_into_force(now)
        store = ProposalStore(tools.database)
        if draft is not None:
            return store.propose_draft(draft, by=who, now=now, kept_days=days)
        assert table is not None
        return store.propose(table, read_rows(table, body, content_type), by=who, now=now, kept_days=days)

    made = await run_in_threadpool(kept)
    place: dict[str, Any] = {"Location": f"/v1/rates/proposals/{-made.number}"}
    return Response(made.model_dump_json(exclude_none=True), 201, media_type=JSON, headers=place)


@router.get(
    "/v1/rates/proposals/{position}",
    summary="All tables as they would be with a proposal",
    response_model=RateRevision,
    responses=answers("not-found", "invalid"),
)
def get_rate_proposal(
    position: Annotated[int, Path(ge=1, le=2**31 - 1, description="Its number without the minus.")],
    caller: EngineerOrSuite,
    tools: Tools,
) -> Response:
    """Its number is below zero, where no revision is."""
    digest, document = ProposalStore(tools.database).proposal(position)
    return Response(document, media_type=JSON, headers={"ETag": f'"{digest}"', "Cache-Control": "private, no-store"})
