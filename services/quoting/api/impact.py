"""Routes of impacts: what proposed rates would do to open quotes, before they are published."""

from __future__ import annotations

import json
from typing import Annotated, Any, TypeVar

from fastapi import APIRouter, Depends, Header, Query, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool

from services.chassis.json_bodies import CheckedRoute, document_of
from services.chassis.keys import Caller
from services.chassis.negotiation import media_type_of
from services.chassis.refusals import Refused
from services.chassis.resources import Resources
from services.chassis.web import Tools, answers, needs_role
from services.quoting.api.parts import How, Most, Now, accepting, answer, cursor_of, finished_answers, read_cursor
from services.quoting.service import cancel
from services.quoting.service.impact import accept_impact, impact_document
from services.quoting.store.impacts import ImpactStore
from shared_schemas.base import Day
from shared_schemas.rate_impact import (
    MOST_QUOTES,
    ImpactChoice,
    RateImpact,
    RateImpactAccepted,
    RateImpactRequest,
)

router = APIRouter(route_class=CheckedRoute)

PATH = "/v1/rates/impact"
JSON, CSV = "application/json", "text/csv"
WITH_CSV = "For a body in CSV; one in JSON says it itself."
Choice = TypeVar("Choice", bound=ImpactChoice)
Engineer = Annotated[Caller, Depends(needs_role("engineer"))]


@router.post(
    PATH,
    status_code=202,
    summary="What a draft, or a proposed rate table, would do to open quotes; no quote is touched, and nothing is published",
    response_model=RateImpactAccepted,
    responses={**answers("not-json", "invalid", "body-too-large", "unsupported-media-type", "too-often", "queue-full"),
               **finished_answers(RateImpact)},
    openapi_extra={"requestBody": {"required": True, "content": {
        JSON: {"schema": RateImpactRequest.model_json_schema()}, CSV: {"schema": {"type": "string"}}}}},
)  # fmt: skip
async def request_impact(
    http: Request,
    caller: Engineer,
    tools: Tools,
    now: Now,
    how: How,
    content_type: Annotated[str, Header()] = JSON,
    table: Annotated[str, Query(description=WITH_CSV)] = "",
    most: Annotated[int, Query(ge=1, le=MOST_QUOTES, description=WITH_CSV)] = MOST_QUOTES,
    quotes: Annotated[list[str] | None, Query(max_length=MOST_QUOTES, description=WITH_CSV)] = None,
    customer: Annotated[str | None, Query(description=WITH_CSV)] = None,
    issued_since: Annotated[Day | None, Query(description=WITH_CSV)] = None,
    refused: Annotated[bool, Query(description=WITH_CSV)] = False,
) -> Response:
    """Of a table the rows are looked at as those of a change are. Named quotes must be open; without names the newest are taken."""
    kind = media_type_of(content_type)
    body = await http.body()
    if kind == CSV:
        asked = {
            "table": table,
            "most": most,
            "quotes": quotes or None,
            "customer": customer,
            "issued_since": issued_since,
            "refused": refused,
        }
        chosen, rows = _chosen(ImpactChoice, asked, source="query"), body
    elif kind == JSON:
        chosen, rows = _from_json(body)
    else:
        detail = f"A table is sent as {JSON} or {CSV}, not as {kind[:60] or 'nothing'}."
        raise Refused("unsupported-media-type", detail, Accept=f"{JSON}, {CSV}")
    number, is_new = await accepting(
        accept_impact,
        chosen,
        rows,
        kind,
        caller=caller.key_id,
        label=caller.label,
        idempotency_key=how.idempotency_key,
        trace=how.trace,
        now=now,
        resources=tools,
    )
    store = ImpactStore(tools.database)
    place = f"{PATH}/{number}"
    return await answer(
        accepted=await run_in_threadpool(_accepted, number, place, store),
        place=place,
        is_new=is_new,
        how=how,
        is_done=lambda: store.runs.is_finished(number),
        outcome=lambda: _document(number, tools, first=0, most=50).model_dump_json().encode(),
    )


@router.get(
    PATH + "/{number}",
    summary="What a draft would do: all quotes together, by customer, and each",
    response_model=RateImpact,
    responses=answers("not-found", "invalid", "gone"),
)
def get_impact(number: str, caller: Engineer, tools: Tools, cursor: str | None = None, limit: Most = 50) -> RateImpact:
    return _document(number, tools, first=read_cursor(tools, "i", cursor) or 0, most=limit)


@router.delete(
    PATH + "/{number}",
    summary="Hold no more quotes against a draft",
    response_model=RateImpact,
    responses=answers("not-found", "invalid"),
)
def cancel_impact(number: str, caller: Engineer, tools: Tools, now: Now) -> RateImpact:
    cancel.cancel_impact(number, caller=caller, now=now, resources=tools)
    return _document(number, tools, first=0, most=50)


def _from_json(body: bytes) -> tuple[ImpactChoice, bytes]:
    """What a JSON body chooses, and its rows as the rates service takes them."""
    asked = _chosen(RateImpactRequest, document_of(body), source="body")
    return asked, json.dumps({"rows": asked.rows}).encode()


def _chosen(kind: type[Choice], asked: Any, *, source: str) -> Choice:
    try:
        return kind.model_validate(asked)
    except ValidationError as fault:
        errors = [{**error, "loc": (source, *error["loc"])} for error in fault.errors()]
        raise RequestValidationError(errors, body=asked) from fault


def _accepted(number: str, place: str, store: ImpactStore) -> RateImpactAccepted:
    impact = store.impact(number)
    return RateImpactAccepted(
        number=number, status="working" if impact.in_work else "done", quotes=impact.size, links={"self": place}
    )


def _document(number: str, tools: Resources, *, first: int, most: int) -> RateImpact:
    return impact_document(number, first=first, most=most, next_cursor=lambda place: cursor_of(tools, "i", place), resources=tools)
