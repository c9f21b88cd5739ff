"""Route of the promise: when would it be ready, if it were ordered today?"""

from __future__ import annotations

from fastapi import APIRouter

from services.chassis.compute_slots import computes
from services.chassis.json_bodies import CheckedRoute
from services.chassis.web import Tools, answers
from services.quoting.api.parts import Now, Sales
from services.quoting.service.promise import promise
from shared_schemas.lead_times import Promise, PromiseRequest

router = APIRouter(route_class=CheckedRoute)


@router.post(
    "/v1/quotes/{number}/promise",
    summary="The earliest days for a quantity against the book of today; the quote stays as it is",
    response_model=Promise,
    responses=answers("not-json", "invalid", "not-found", "conflict", "body-too-large", "unsupported-media-type", "gone"),
)
@computes
def request_promise(number: str, asked: PromiseRequest, caller: Sales, tools: Tools, now: Now) -> Promise:
    return promise(number, asked, now=now, resources=tools)
