"""Routes of offers: the offer of a quote as the customer reads it, sent, and as it was sent."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Header, Query, Response

from services.chassis.json_bodies import CheckedRoute
from services.chassis.negotiation import quality
from services.chassis.web import NOTHING, Tools, answers
from services.quoting.api.parts import How, Now, Revision, Sales, SalesOrEngineer
from services.quoting.offer_errors import SheetNotAsAsked
from services.quoting.service.approvals import refuse_unapproved
from services.quoting.service.offers import offer_document
from services.quoting.service.sending import Asked, send_offer, sent_document
from services.quoting.sheet import LANGUAGES, Paper, offer_page, offer_pdf
from services.quoting.store.offers import OfferStore
from services.quoting.store.repository import QuoteStore
from shared_schemas.offers import OfferRequest, SentOffer, SentOfferList

router = APIRouter(route_class=CheckedRoute)
HTML, PDF, MAIL, JSON = "text/html", "application/pdf", "message/rfc822", "application/json"
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


@router.post(
    "/v1/quotes/{number}/offers",
    status_code=201,
    summary="Send the offer of a quote by mail, or make it as a file; what goes out is kept byte for byte",
    response_model=SentOffer,
    responses=answers("not-json", "invalid", "body-too-large", "not-found", "conflict", "gone", "idempotency-conflict"),
)
def send_quote(number: str, asked: OfferRequest, caller: Sales, tools: Tools, now: Now, how: How, response: Response) -> SentOffer:
    sent = send_offer(number, asked, Asked(caller.key_id, now, how.idempotency_key), tools)
    response.headers["Location"] = sent.links["self"]
    return sent


@router.get(
    "/v1/quotes/{number}/offers",
    summary="Every offer of a quote that was made, newest first",
    response_model=SentOfferList,
    responses=answers("not-found"),
)
def list_offers(number: str, caller: SalesOrEngineer, tools: Tools) -> SentOfferList:
    row = QuoteStore(tools.database).quote(number)
    return SentOfferList(items=tuple(map(sent_document, OfferStore(tools.database).of_quote(row.quote_number))))


@router.get(
    "/v1/offers/{number}",
    summary="An offer as it was sent: what is known of it, its PDF or its mail, byte for byte",
    response_model=SentOffer,
    responses={
        200: {"content": {kind: {"schema": {"type": "string", "format": "binary"}} for kind in (PDF, MAIL)}},
        **answers("not-found", "not-acceptable"),
    },
)
def get_offer(
    number: str,
    caller: SalesOrEngineer,
    tools: Tools,
    accept: Annotated[str, Header(description=f"{JSON}, {PDF} or {MAIL}, or any range that covers one of them.")] = JSON,
) -> Response:
    kind = max((JSON, PDF, MAIL), key=lambda offered: quality(accept, offered))
    if quality(accept, kind) <= 0:
        raise SheetNotAsAsked(accept, (JSON, PDF, MAIL))
    offer = OfferStore(tools.database).offer(number)
    headers = {"Vary": "Accept", "Cache-Control": "private, no-cache"}
    if kind == JSON:
        return Response(sent_document(offer).model_dump_json(), media_type=JSON, headers=headers)
    headers["Content-Disposition"] = f'attachment; filename="{offer.id}.{"pdf" if kind == PDF else "eml"}"'
    return Response(offer.pdf if kind == PDF else offer.mail, media_type=kind, headers=headers)
