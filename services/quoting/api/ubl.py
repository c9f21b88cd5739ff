"""The commercial documents of a quote as UBL.

At addresses of the quote, not of the estimate: they are the customer's, who may see neither cost nor routing, and sales may send
them, which may not read estimates. So no header Accept can ever turn the one into the other.
"""

from __future__ import annotations

import hashlib
from typing import Annotated, Any

from fastapi import APIRouter, Header, Path, Response

from services.chassis.json_bodies import CheckedRoute
from services.chassis.negotiation import is_known, quality
from services.chassis.refusals import Refused
from services.chassis.web import Tools, answers
from services.quoting.api.parts import Reader, Revision
from services.quoting.service.approvals import refuse_unapproved
from services.quoting.service.estimates import needed_by
from services.quoting.service.ubl import UblDocument, ubl_document
from services.quoting.store.repository import QuoteStore

router = APIRouter(route_class=CheckedRoute)

XML = "application/xml"
AS_YOU_HAVE_IT: dict[int | str, dict[str, Any]] = {304: {"description": "It is as you have it"}}


@router.get(
    "/v1/quotes/{number}/ubl/{document}",
    summary="A ready quote as an OASIS UBL 2.1 Quotation, or once it is accepted as an OrderResponse",
    response_class=Response,
    responses={200: {"content": {XML: {"schema": {"type": "string"}}}, "description": "Valid against the schema of UBL 2.1"},
               **AS_YOU_HAVE_IT, **answers("not-found", "invalid", "not-acceptable", "gone", "conflict")},
)  # fmt: skip
def get_ubl(
    number: str,
    document: Annotated[UblDocument, Path(description="`quotation`, or `order-response` of an accepted quote.")],
    caller: Reader,
    tools: Tools,
    revision: Revision = None,
    accept: Annotated[str, Header(description=f"{XML}, or any range that covers it.")] = XML,
    if_none_match: Annotated[str | None, Header(description="The ETag of what you have.")] = None,
) -> Response:
    """Prices, charges for tools, dates and parties; nothing of costs, operations or minutes."""
    if quality(accept, XML) <= 0:
        raise Refused("not-acceptable", f"A UBL document can be had as {XML}.")
    row = QuoteStore(tools.database).quote(number, revision)
    if document == "quotation" and row.body is not None:
        refuse_unapproved(row, tools)
    wanted = needed_by(row, tools) if row.body is not None else None
    made = ubl_document(row, document, seller=tools.settings.shop_name, needed_by=wanted)
    etag = hashlib.sha256(made).hexdigest()
    headers = {"ETag": f'"{etag}"', "Vary": "Accept", "Cache-Control": "private, no-cache"}
    if is_known(if_none_match, etag):
        return Response(status_code=304, headers=headers)
    named = {"Content-Disposition": f'inline; filename="{row.quote_number}-revision-{row.revision}-{document}.xml"'}
    return Response(made, media_type=XML, headers=headers | named)
