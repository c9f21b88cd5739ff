"""The route by which the orders service takes over what was accepted."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Response

from services.chassis.json_bodies import CheckedRoute
from services.chassis.keys import Caller
from services.chassis.web import Tools, answers, needs_role
from services.quoting.api.parts import Most
from services.quoting.store.handovers import Handovers
from shared_schemas.load import HandoverPage

router = APIRouter(route_class=CheckedRoute)

Suite = Annotated[Caller, Depends(needs_role("service"))]


@router.get(
    "/v1/handovers",
    summary="Accepted orders with the hours they take, oldest first, for the service that books them",
    response_model=HandoverPage,
    responses=answers("invalid"),
)
def list_handovers(
    caller: Suite,
    tools: Tools,
    after: Annotated[int, Query(ge=0, le=2**63 - 1, description="The position up to which everything is taken over.")] = 0,
    limit: Most = 50,
) -> Response:
    entries = Handovers(tools.database).after(after, most=limit)
    items = b",".join(b'{"position":%d,"accepted":%s}' % (entry.position, entry.document) for entry in entries)
    return Response(b'{"items":[' + items + b"]}", media_type="application/json")
