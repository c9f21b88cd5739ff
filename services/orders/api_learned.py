"""The route of what the rates should learn from what really happened."""

from __future__ import annotations

from fastapi import APIRouter

from services.chassis.json_bodies import CheckedRoute
from services.chassis.web import Tools, answers
from services.orders.api_parts import Engineer
from services.orders.learned import learned_rates
from shared_schemas.learned import LearnedRates

router = APIRouter(route_class=CheckedRoute)


@router.get(
    "/v1/rates/learned",
    summary="Rows of rates that jobs say are off, with evidence and the change for a draft",
    response_model=LearnedRates,
    responses=answers("invalid", "unavailable"),
)
def get_learned_rates(caller: Engineer, tools: Tools) -> LearnedRates:
    """Nothing is changed by it: an engineer sends the rows that are right to `POST /v1/rates/drafts`, looks what that draft does to open quotes
    (`POST /v1/rates/impact`), and publishes it."""
    return learned_rates(tools)
