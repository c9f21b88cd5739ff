"""Routes of offers: the offer of a quote as the customer reads it."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Header, Query, Response

from services.chassis.json_bodies import CheckedRoute
from services.chassis.negotiation import quality
from services.chassis.web import NOTHING, Tools, answers
from services.quoting.api.parts import Now, Revision, SalesOrEngineer
from services.quoting.offer_errors import SheetNotAsAsked
from services.quoting.service.approvals import refuse_unapproved
from services.quoting.service.offers import offer_document
from services.quoting.sheet import LANGUAGES, Paper, offer_page, offer_pdf
from services.quoting.store.repository import QuoteStore

router = APIRouter(route_class=CheckedRoute)
HTML, PDF = "text/html", "application/pdf"
SHEET_HEADERS = {
    "Content-Security-Policy": f"{NOTHING}; style-src 'unsafe-inline'; img-src data:",
    "Cache-Control": "no-store",
    "Vary": "Accept",
}
OfferLanguage = Annotated[str, Query(max_length=40, description=f"The customer's language: {', '.join(LANGUAGES)}.")]
OfferPaper = Annotated[Paper, Query(description="The paper that it is set for.")]


@router.get(
    "/v1/quotes/{number}/sheet",
    summary="The customer's offer: a ready quote as one page of HTML, or as a PDF to mail out",
    response_class=Response,
    responses={
        200: {
            "content": {HTML: {"schema": {"type": "string"}}, PDF: {"schema": {"type": "string", "format": "binary"}}},
            "description": "The offer, complete in itself",
        },
        **answers("not-found", "invalid", "not-acceptable", "gone", "conflict"),
    },
)
def get_sheet(
    number: str,
    caller: SalesOrEngineer,
    tools: Tools,
    now: Now,
    revision: Revision = None,
    language: OfferLanguage = "en",
    paper: OfferPaper = "a4",
    accept: Annotated[str, Header(description=f"{HTML} or {PDF}, or any range that covers one of them.")] = HTML,
) -> Response:
    kind = max((HTML, PDF), key=lambda offered: quality(accept, offered))
    if quality(accept, kind) <= 0:
        raise SheetNotAsAsked(accept, (HTML, PDF))
    row = QuoteStore(tools.database).quote(number, revision)
    refuse_unapproved(row, tools)
    offer, on = offer_document(row, today=now.date(), language=language, paper=paper, resources=tools)
    name = f"{row.quote_number}-revision-{row.revision}.{'pdf' if kind == PDF else 'html'}"
    content = offer_pdf(offer, on=on) if kind == PDF else offer_page(offer).encode()
    return Response(content, media_type=kind, headers=SHEET_HEADERS | {"Content-Disposition": f'inline; filename="{name}"'})
