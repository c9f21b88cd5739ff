"""Routes of the estimator's worksheet and of the second key of a quote that needs one."""

from __future__ import annotations

from fastapi import APIRouter

from services.chassis.json_bodies import CheckedRoute
from services.chassis.web import Tools, answers
from services.quoting.api.parts import Now, SalesOrEngineer
from services.quoting.service.approvals import approve
from shared_schemas.worksheet import Approval, ApprovalRequest

router = APIRouter(route_class=CheckedRoute)


@router.post(
    "/v1/quotes/{number}/approvals",
    summary="Approve a revision that needs a second key, with another key and name than those that it was changed with",
    response_model=Approval,
    responses=answers("not-json", "invalid", "body-too-large", "not-found", "conflict", "gone"),
)
def approve_quote(number: str, asked: ApprovalRequest, caller: SalesOrEngineer, tools: Tools, now: Now) -> Approval:
    return approve(number, asked, key_id=caller.key_id, now=now, resources=tools)
