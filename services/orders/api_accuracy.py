"""The route of how true quotes came: quoted against actual of the orders that are finished, as JSON, CSV or a chart."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Header, Query, Response

from services.chassis.json_bodies import CheckedRoute
from services.chassis.negotiation import quality
from services.chassis.refusals import Refused
from services.chassis.web import Tools, answers
from services.orders.accuracy import accuracy, accuracy_chart, accuracy_csv
from services.orders.api_parts import CSV, JSON, SVG, Engineer
from services.orders.domain.accuracy_chart import Chart
from shared_schemas.accuracy import Accuracy, Measure
from shared_schemas.base import Day

router = APIRouter(route_class=CheckedRoute)

OTHER_KINDS = {kind: {"schema": {"type": "string"}} for kind in (CSV, SVG)}


@router.get(
    "/v1/accuracy",
    summary="Quoted against actual hours, cost, yield and days of finished orders, as JSON, CSV or a chart",
    response_model=Accuracy,
    responses={200: {"content": OTHER_KINDS}, **answers("invalid", "not-acceptable")},
)
def get_accuracy(
    caller: Engineer,
    tools: Tools,
    since: Annotated[Day | None, Query(description="Only orders that were finished on this day or later.")] = None,
    until: Annotated[Day | None, Query(description="Only orders that were finished on this day or before.")] = None,
    chart: Annotated[Chart, Query(description="Which chart, as SVG.")] = "quoted_against_actual",
    measure: Annotated[Measure, Query(description="What the chart is of.")] = "hours",
    accept: Annotated[str, Header()] = JSON,
) -> Response:
    """Orders that are not finished are left out and counted; of fewer than five jobs there is no figure."""
    kind = max((JSON, CSV, SVG), key=lambda one: quality(accept, one))
    if quality(accept, kind) <= 0:
        raise Refused("not-acceptable", f"The report can be had as {JSON}, {CSV} or {SVG}.")
    headers = {"Vary": "Accept"}
    if kind == SVG:
        return Response(accuracy_chart(tools, chart, measure, since=since, until=until), media_type=SVG, headers=headers)
    report = accuracy(tools, since=since, until=until)
    body = accuracy_csv(report) if kind == CSV else report.model_dump_json()
    return Response(body, media_type=kind, headers=headers)
