"""The route of the job sheet: a ready quote as whoever makes the lens reads it."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Header, Query, Response

from services.chassis.json_bodies import CheckedRoute
from services.chassis.negotiation import quality
from services.chassis.web import Tools, answers
from services.quoting.api.offers import HTML, PDF, SHEET_HEADERS, OfferPaper
from services.quoting.api.parts import Now, Revision, SalesOrEngineer
from services.quoting.job_sheet import job_page, job_pdf
from services.quoting.offer_errors import SheetNotAsAsked
from services.quoting.service.job_sheet import job_sheet_document
from services.quoting.store.repository import QuoteStore

router = APIRouter(route_class=CheckedRoute)


@router.get(
    "/v1/quotes/{number}/job-sheet",
    summary="The job sheet of a quote for the workshop: blanks, blocks, routing, tools, days and cost at one quantity; internal",
    response_class=Response,
    responses={
        200: {
            "content": {HTML: {"schema": {"type": "string"}}, PDF: {"schema": {"type": "string", "format": "binary"}}},
            "description": "The job sheet, complete in itself",
        },
        **answers("not-found", "invalid", "not-acceptable", "gone", "conflict"),
    },
)
def get_job_sheet(
    number: str,
    caller: SalesOrEngineer,
    tools: Tools,
    now: Now,
    revision: Revision = None,
    quantity: Annotated[
        int | None, Query(ge=1, description="One of the quantities quoted; without it the one ordered, or the middle one.")
    ] = None,
    paper: OfferPaper = "a4",
    accept: Annotated[str, Header(description=f"{HTML} or {PDF}, or any range that covers one of them.")] = HTML,
) -> Response:
    kind = max((HTML, PDF), key=lambda offered: quality(accept, offered))
    if quality(accept, kind) <= 0:
        raise SheetNotAsAsked(accept, (HTML, PDF))
    row = QuoteStore(tools.database).quote(number, revision)
    sheet, on = job_sheet_document(row, quantity=quantity, paper=paper, today=now.date(), resources=tools)
    content = job_pdf(sheet, on=on) if kind == PDF else job_page(sheet).encode()
    name = f"{row.quote_number}-revision-{row.revision}-job-{sheet.quantity}.{'pdf' if kind == PDF else 'html'}"
    return Response(content, media_type=kind, headers=SHEET_HEADERS | {"Content-Disposition": f'inline; filename="{name}"'})
