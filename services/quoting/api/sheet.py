"""Route of the customer's quote sheet: a ready quote as a page to read, print and sign."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Header, Response

from services.chassis.accepts import liking
from services.chassis.headers import NOTHING
from services.chassis.web import Tools, answers
from services.quoting.api.parts import Now, Revision, Sales
from services.quoting.errors import SheetNotAsAsked
from services.quoting.service.documents import sheet_document
from services.quoting.store.repository import QuoteStore

router = APIRouter()

HTML = "text/html"
HEADERS = {
    "Content-Security-Policy": f"{NOTHING}; style-src 'unsafe-inline'",
    "Cache-Control": "no-store",
    "Vary": "Accept",
}


@router.get(
    "/v1/quotes/{number}/sheet",
    summary="The customer's quote sheet: a ready quote as one page of HTML that prints on A4 and Letter",
    response_class=Response,
    responses={
        200: {"content": {HTML: {"schema": {"type": "string"}}}, "description": "The sheet, complete in itself"},
        **answers("not-found", "invalid", "not-acceptable"),
    },
)
def get_sheet(
    number: str,
    caller: Sales,
    tools: Tools,
    now: Now,
    revision: Revision = None,
    accept: Annotated[str, Header(description=f"{HTML}, or any range that covers it.")] = HTML,
) -> Response:
    if liking(accept, HTML) <= 0:
        raise SheetNotAsAsked(accept, HTML)
    row = QuoteStore(tools.database).quote(number, revision)
    named = {"Content-Disposition": f'inline; filename="{row.quote_number}-revision-{row.revision}.html"'}
    return Response(sheet_document(row, today=now.date()), media_type=HTML, headers=HEADERS | named)
