"""The route of how many quotes were won: as JSON, CSV or a chart."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Header, Query, Response

from services.chassis.json_bodies import CheckedRoute
from services.chassis.negotiation import quality
from services.chassis.refusals import Refused
from services.chassis.web import Tools, answers
from services.quoting.api.parts import Now, SalesOrEngineer
from services.quoting.service.win_rate import win_rate, win_rate_chart, win_rate_csv
from shared_schemas.base import Day
from shared_schemas.win_rate import WinRate, WonBy

router = APIRouter(route_class=CheckedRoute)

JSON, CSV, SVG = "application/json", "text/csv", "image/svg+xml"
OTHER_KINDS = {kind: {"schema": {"type": "string"}} for kind in (CSV, SVG)}


@router.get(
    "/v1/win-rate",
    summary="How many decided quotes were won, by price against cost, customer and month, as JSON, CSV or a chart",
    response_model=WinRate,
    responses={200: {"content": OTHER_KINDS}, **answers("invalid", "not-acceptable")},
)
def get_win_rate(
    caller: SalesOrEngineer,
    tools: Tools,
    now: Now,
    since: Annotated[Day | None, Query(description="Only quotes that were decided, or expired, on this day or later.")] = None,
    until: Annotated[Day | None, Query(description="Only quotes that were decided, or expired, on this day or before.")] = None,
    chart: Annotated[WonBy, Query(description="Which chart, as SVG.")] = "markup",
    accept: Annotated[str, Header()] = JSON,
) -> Response:
    """Shares and counts alone: no price and no cost. Of few quotes the interval is wide."""
    kind = max((JSON, CSV, SVG), key=lambda one: quality(accept, one))
    if quality(accept, kind) <= 0:
        raise Refused("not-acceptable", f"The win rate can be had as {JSON}, {CSV} or {SVG}.")
    report = win_rate(tools, today=now.date(), since=since, until=until)
    if kind == SVG:
        return Response(win_rate_chart(report, chart), media_type=SVG, headers={"Vary": "Accept"})
    body = win_rate_csv(report) if kind == CSV else report.model_dump_json()
    return Response(body, media_type=kind, headers={"Vary": "Accept"})
