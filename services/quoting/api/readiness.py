"""The route of the readiness of the rates: what of the money quoted rests on invented or stale rows."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query
from pydantic import Field

from services.chassis.json_bodies import CheckedRoute
from services.chassis.keys import Caller
from services.chassis.web import Tools, answers, needs_role
from services.quoting.api.parts import Now
from services.quoting.service.readiness import readiness
from shared_schemas.base import NO_CONTROLS
from shared_schemas.rate_readiness import RateReadiness

router = APIRouter(route_class=CheckedRoute)
Engineer = Annotated[Caller, Depends(needs_role("engineer"))]


@router.get(
    "/v1/rates/readiness",
    summary="How much of the money quoted rests on rate rows that are invented or stale, largest first",
    response_model=RateReadiness,
    responses=answers("invalid"),
)
def get_readiness(
    caller: Engineer,
    tools: Tools,
    now: Now,
    quote: Annotated[list[Annotated[str, Field(max_length=40, pattern=NO_CONTROLS)]] | None, Query(max_length=200, description="Quotes to go by, such as one of the demo lens; without them the open book.")] = None,
) -> RateReadiness:  # fmt: skip
    """Each quote counts with the price of its middle quantity, in the base currency."""
    return readiness(quote or [], now=now, resources=tools)
