"""Pages of quotes: the list and its search, one quote while it is worked out and when it is ready, why a figure is what it is, and what is done with it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any
from urllib.parse import urlencode

from fastapi import Response
from pydantic import ValidationError

from services.chassis.problems import details_of_invalid
from services.client.errors import ClientError, ServerRefused
from services.desk.errors import AnswersUnusable
from services.desk.pages.charts import days_chart, price_chart
from services.desk.pages.lens_picture import lens_picture
from services.desk.pages.visits import Visit
from services.desk.pages.wording import STAGES
from shared_schemas.figure import PointedFigure
from shared_schemas.problem import ProblemDetail
from shared_schemas.quote import FINAL_STATUSES, Quote, middle_quantity
from shared_schemas.quote_life import DecisionRequest
from shared_schemas.quote_list import QuotePage

FILTERS = ("text", "customer", "reference", "state", "glass", "element", "created_from", "created_to", "follow_up")
"""What a search may say, by the names of the API."""
STATES = ("open", "accepted", "declined", "expired")
REASONS = ("price", "date", "lost_to_other", "no_budget", "changed", "no_answer", "other")
LANGUAGES = (("en", "English"), ("de", "Deutsch"), ("fr", "français"))
FORMS = {"pdf": "application/pdf", "html": "text/html"}
LISTED = 25


def attention(visit: Visit) -> Mapping[str, Any]:
    """What waits for somebody, for the page that a day begins with; a part that is away leaves its list out and says so."""
    groups, fault = [], ""
    with visit.quoting() as quoting:
        for title, query in (
            ("Soon to expire", {"follow_up": "expiring"}),
            ("Waiting for the customer", {"follow_up": "waiting"}),
            ("Latest", {}),
        ):
            try:
                found = quoting.asked(QuotePage, "GET", "/v1/quotes", query={**query, "limit": 5})
            except ServerRefused as refusal:
                if refusal.status == 401:
                    raise
                fault = str(refusal)
            except ClientError as refusal:
                fault = str(refusal)
            else:
                groups.append((title, found.items, urlencode(query)))
    return {"attention": groups, "attention_fault": fault}


def list_page(visit: Visit) -> Response:
    """Quotes, newest first, as they are searched for."""
    asked = {name: visit.query[name].strip() for name in FILTERS if visit.query.get(name, "").strip()}
    cursor = visit.query.get("cursor") or None
    found, fault = None, None
    with visit.quoting() as quoting:
        try:
            found = quoting.asked(QuotePage, "GET", "/v1/quotes", query={**asked, "cursor": cursor, "limit": LISTED})
        except ServerRefused as refusal:
            if refusal.status in (401, 403, 503):
                raise
            fault = refusal
    following = urlencode({**asked, "cursor": found.next}) if found is not None and found.next else ""
    return visit.page(
        "quotes.html", status=fault.status if fault else 200, asked=asked, found=found, fault=fault, following=following, states=STATES,
        is_first=cursor is None,
    )  # fmt: skip


def quote_page(visit: Visit, number: str, *, today: date, fault: Any = None, status: int = 200) -> Response:
    """One quote: how far it is, why there is none, or all that it says."""
    with visit.quoting() as quoting:
        quote = quoting.quote(number, _revision(visit))
        if quote.status not in FINAL_STATUSES:
            return visit.page("following.html", quote=quote, stages=STAGES, reached=_reached(quote))
        body = quote.body
        if body is None:
            return visit.page("refused.html", quote=quote)
        picture = lens_picture(quoting, body.prescription, body.check)
    middle = middle_quantity(one.quantity for one in body.breaks)
    return visit.page(
        "quote.html", status=status, quote=quote, body=body, picture=picture, middle=next(one for one in body.breaks if one.quantity == middle),
        prices=price_chart(body.breaks, body.currency), days=days_chart(body.breaks), languages=LANGUAGES, reasons=REASONS,
        typed=visit.typed, fault=fault, today=today, kinds=_kinds(body.breaks[0].lines), findings=(*body.check.findings, *body.findings),
    )  # fmt: skip


def _kinds(lines: Any) -> tuple[str, ...]:
    return tuple(line.name for line in lines)


def _reached(quote: Quote) -> int:
    return next((place for place, (status, _) in enumerate(STAGES) if status == quote.status), 0)


def _revision(visit: Visit) -> int | None:
    said = visit.query.get("revision", "")
    return int(said) if said.isascii() and said.isdecimal() and len(said) < 7 else None


def why_page(visit: Visit, number: str) -> Response:
    """What lies behind one figure of a quote."""
    query = {"of": visit.query.get("of", ""), "revision": _revision(visit)}
    with visit.quoting() as quoting:
        figure = quoting.asked(PointedFigure, "GET", f"/v1/quotes/{_step(number)}/explanation", query=query)
    return visit.page("why.html", figure=figure, number=number, revision=query["revision"])


def offer_document(visit: Visit, number: str) -> Response:
    """The customer's offer, as a page or a PDF."""
    form = visit.query.get("form", "pdf")
    kind = FORMS.get(form, FORMS["pdf"])
    query = {"language": visit.query.get("language"), "paper": visit.query.get("paper"), "revision": _revision(visit)}
    return _document(visit, f"/v1/quotes/{_step(number)}/sheet", query, kind)


def _document(visit: Visit, path: str, query: Mapping[str, Any], kind: str) -> Response:
    with visit.quoting() as quoting:
        came = quoting.fetched("GET", path, query=query, headers={"Accept": f"{kind}, application/problem+json;q=0.5"})
    kept = {name: came.headers[name] for name in ("Content-Disposition", "Content-Security-Policy") if name in came.headers}
    return Response(came.content, media_type=came.headers.get("Content-Type", kind), headers=kept)


def decided(visit: Visit, number: str, *, today: date) -> Response:
    """Record what the customer decided, and show the quote; with what was typed where it cannot be."""
    said = visit.typed
    accepts = said.get("decision") == "accepted"
    names = ("by", "note", "purchase_order") if accepts else ("by", "note", "reason")
    document: dict[str, Any] = {"decision": said.get("decision"), **{name: said[name].strip() for name in names if said.get(name, "").strip()}}
    if accepts and said.get("quantity", "").isdecimal():
        document["quantity"] = int(said["quantity"])
    if accepts and said.get("confirm_expired"):
        document["confirm_expired"] = True
    try:
        decision = DecisionRequest.model_validate(document)
        with visit.quoting() as quoting:
            quoting.decide(number, decision)
    except ValidationError as wrong:
        return quote_page(visit, number, today=today, fault=AnswersUnusable(*details_of_invalid(wrong.errors(), document)), status=422)
    except ServerRefused as refusal:
        if refusal.status in (401, 403, 404):
            raise
        return quote_page(visit, number, today=today, fault=refusal, status=refusal.status)
    return _to(number)


def requoted(visit: Visit, number: str, *, today: date) -> Response:
    """Ask for the next revision, at today's rates and for other quantities where they are said."""
    words = visit.typed.get("quantities", "").replace(",", " ").replace("/", " ").split()
    if not all(word.isascii() and word.isdecimal() for word in words):
        detail = ProblemDetail(pointer="/quantities", reason="they are no whole numbers", figure=visit.typed["quantities"][:60], remedy="write 5, 25, 100")
        return quote_page(visit, number, today=today, fault=AnswersUnusable(detail), status=422)
    changes = {"quantities": [int(word) for word in words]} if words else {}
    try:
        with visit.quoting() as quoting:
            quoting.requote(number, changes)
    except ServerRefused as refusal:
        if refusal.status in (401, 403, 404):
            raise
        return quote_page(visit, number, today=today, fault=refusal, status=refusal.status)
    return _to(number)


def _to(number: str) -> Response:
    return Response(status_code=303, headers={"Location": f"/quotes/{_step(number)}"})


def _step(number: str) -> str:
    from services.client.call import step  # noqa: PLC0415

    return step(number)


