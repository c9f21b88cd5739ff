"""Routes of what really happened: an ERP reports by operation, and every entry can be read again."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Header, Path, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.exceptions import RequestValidationError
from pydantic import ValidationError

from services.chassis.json_bodies import CheckedRoute, document_of, refuse_turned_text
from services.chassis.negotiation import media_type_of
from services.chassis.refusals import Refused
from services.chassis.web import Tools, answers
from services.orders.actuals import records_of_csv, take_actuals
from services.orders.api_parts import CSV, JSON, Erp, Now, OrderNumber, Reader
from services.orders.store.actuals import ActualStore
from shared_schemas.actuals import Actuals, ActualsKept, ActualsTaken
from shared_schemas.base import NO_CONTROLS

router = APIRouter(route_class=CheckedRoute)

EstimateNumber = Annotated[
    str, Path(max_length=60, pattern=NO_CONTROLS, description="The number of the order, or of the estimate that was ordered.")
]
NOTHING_NEW: dict[int | str, dict[str, Any]] = {200: {"model": ActualsTaken, "description": "All of it was known"}}


@router.post(
    "/v1/orders/{number}/actuals",
    status_code=201,
    summary="Report what happened to operations of an order: minutes, pieces, losses, prices paid",
    response_model=ActualsTaken,
    responses={**NOTHING_NEW, **answers("not-json", "invalid", "idempotency-conflict", "not-found", "conflict", "body-too-large",
                                        "unsupported-media-type")},
    openapi_extra={"requestBody": {"required": True, "content": {
        JSON: {"schema": Actuals.model_json_schema()}, CSV: {"schema": {"type": "string"}}}}},
)  # fmt: skip
async def post_actuals(
    number: EstimateNumber,
    http: Request,
    caller: Erp,
    tools: Tools,
    now: Now,
    content_type: Annotated[str, Header()] = JSON,
    idempotency_key: Annotated[
        str | None, Header(min_length=1, max_length=200, description="Your own name for this request.")
    ] = None,
) -> Response:
    """Any part of an order at any time, all of the request or none of it; a later entry takes the place of an earlier one, and both are kept."""
    asked = read_actuals(await http.body(), content_type)
    key = idempotency_key.strip('"') if idempotency_key else None

    def take() -> ActualsTaken:
        return take_actuals(number, asked, key_id=caller.key_id, idempotency_key=key, resources=tools, now=now)

    taken = await run_in_threadpool(take)
    return Response(taken.model_dump_json(), status_code=201 if taken.taken else 200, media_type=JSON)


@router.get(
    "/v1/orders/{number}/actuals",
    summary="All that was reported of an order, oldest first; which entries stand",
    response_model=ActualsKept,
    responses=answers("not-found", "invalid"),
)
def get_actuals(number: OrderNumber, caller: Reader, tools: Tools) -> ActualsKept:
    return ActualsKept(order=number, entries=ActualStore(tools.database).kept(number))


def read_actuals(body: bytes, content_type: str) -> Actuals:
    """A report from JSON or CSV; raises what is answered as any other body that cannot be read."""
    kind = media_type_of(content_type)
    if kind not in (JSON, CSV):
        said = f"A report is sent as {JSON} or {CSV}, not as {kind[:60] or 'nothing'}."
        raise Refused("unsupported-media-type", said, Accept=f"{JSON}, {CSV}")
    document = document_of(body) if kind == JSON else _of_csv(body)
    try:
        return Actuals.model_validate(document)
    except ValidationError as fault:
        found = [{**error, "loc": ("body", *error["loc"])} for error in fault.errors()]
        raise RequestValidationError(found, body=document) from fault


def _of_csv(body: bytes) -> dict[str, Any]:
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        raise Refused("invalid", f"The CSV is not UTF-8 at byte {fault.start}; save it as UTF-8.") from fault
    refuse_turned_text(text, "/entries")
    return records_of_csv(text)
