"""Pages of quotes: the list and its search, one quote while it is worked out and when it is ready, why a figure is what it is, and what is done with it."""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any
from urllib.parse import urlencode

from fastapi import Response

from services.client import Client
from services.client.call import call, step
from services.client.calls.offers import MEDIA_TYPES, SENT_AS, Form, Paper
from services.client.errors import ClientError, ServerRefused
from services.desk.errors import AnswersUnusable
from services.desk.pages.charts import days_chart, price_chart
from services.desk.pages.frame import Said
from services.desk.pages.lens_picture import lens_picture
from services.desk.pages.typed import as_contract, quantities_in
from services.desk.pages.visits import Visit
from services.desk.pages.wording import STAGES
from shared_schemas.check import Finding
from shared_schemas.offers import OfferRequest, SentOffer
from shared_schemas.place import place_of
from shared_schemas.quote import FINAL_STATUSES, Quote, middle_quantity
from shared_schemas.quote_life import DecisionRequest, UndoRequest
from shared_schemas.quote_list import FollowUp, QuotePage

FILTERS = ("text", "customer", "reference", "state", "glass", "element", "created_from", "created_to", "follow_up")
"""What a search may say, by the names of the API."""
STATES = ("open", "accepted", "declined", "expired")
REASONS = ("price", "date", "lost_to_other", "no_budget", "changed", "no_answer", "other")
LANGUAGES = (("en", "English"), ("de", "Deutsch"), ("fr", "français"))
OF_AN_OFFER = (
    "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; style-src 'unsafe-inline'; img-src data:"
)
"""The offer carries its style inside, and no script."""
LISTED = 25
GROUPS: tuple[tuple[str, FollowUp | None], ...] = (
    ("Soon to expire", "expiring"), ("Waiting for the customer", "waiting"), ("Latest", None),
)  # fmt: skip
ADDRESSES_APART = re.compile(r"[\s,;]+")


def attention(visit: Visit) -> Mapping[str, Any]:
    """What waits for somebody, for the page that a day begins with; a part that is away leaves its list out and says so."""
    groups, fault = [], ""
    with visit.quoting() as quoting:
        for title, follow_up in GROUPS:
            try:
                found = quoting.quotes(follow_up=follow_up, limit=5)
            except ServerRefused as refusal:
                if refusal.status == 401:
                    raise
                fault = str(refusal)
            except ClientError as refusal:
                fault = str(refusal)
            else:
                groups.append((title, found.items, f"follow_up={follow_up}" if follow_up else ""))
    return {"attention": groups, "attention_fault": fault}


def list_page(visit: Visit) -> Response:
    """Quotes, newest first, as they are searched for."""
    asked = {name: visit.query[name].strip() for name in FILTERS if visit.query.get(name, "").strip()}
    cursor = visit.query.get("cursor") or None
    found, fault = None, None
    with visit.quoting() as quoting:
        try:
            found = quoting.send(call(QuotePage, "GET", "/v1/quotes", query={**asked, "cursor": cursor, "limit": LISTED}))
        except ServerRefused as refusal:
            if refusal.status in (401, 403, 503):
                raise
            fault = refusal
    following = urlencode({**asked, "cursor": found.next}) if found is not None and found.next else ""
    return visit.page(
        "quotes.html", status=fault.status if fault else 200, asked=Said(asked), found=found, fault=fault, following=following, states=STATES,
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
        offers = _offers(quoting, number)
    middle = middle_quantity(one.quantity for one in body.breaks)
    return visit.page(
        "quote.html", status=status, quote=quote, body=body, picture=picture, middle=next(one for one in body.breaks if one.quantity == middle),
        prices=price_chart(body.breaks, body.currency), days=days_chart(body.breaks), languages=LANGUAGES, reasons=REASONS,
        typed=Said(visit.typed), fault=fault, today=today, kinds=_kinds(body.breaks[0].lines), findings=_graver_first((*body.check.findings, *body.findings)),
        relaxations=[(str(place_of(one.where, body.prescription)), one) for one in body.relaxations],
        offers=offers, asked_as=secrets.token_hex(16),
    )  # fmt: skip


def _graver_first(findings: Sequence[Finding]) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
    """What wants somebody, the gravest first, and notes."""
    grave = sorted((one for one in findings if one.severity != "note"), key=lambda one: one.severity != "stop")
    return tuple(grave), tuple(one for one in findings if one.severity == "note")


def _kinds(lines: Any) -> tuple[str, ...]:
    return tuple(line.name for line in lines)


def _reached(quote: Quote) -> int:
    return next((place for place, (status, _) in enumerate(STAGES) if status == quote.status), 0)


def _revision(visit: Visit) -> int | None:
    said = visit.query.get("revision", "")
    return int(said) if said.isascii() and said.isdecimal() and len(said) < 7 else None


def why_page(visit: Visit, number: str) -> Response:
    """What lies behind one figure of a quote."""
    revision = _revision(visit)
    with visit.quoting() as quoting:
        figure = quoting.figure(number, visit.query.get("of", ""), revision)
    return visit.page("why.html", figure=figure, number=number, revision=revision)


def offer_document(visit: Visit, number: str) -> Response:
    """The customer's offer, as a page or a PDF."""
    form: Form = "html" if visit.query.get("form") == "html" else "pdf"
    paper: Paper = "letter" if visit.query.get("paper") == "letter" else "a4"
    revision = _revision(visit)
    with visit.quoting() as quoting:
        offer = quoting.sheet(number, revision, form=form, language=visit.query.get("language") or None, paper=paper)
    name = f"{step(number)}{f'-revision-{revision}' if revision else ''}.{form}"
    headers = {"Content-Disposition": f'inline; filename="{name}"', "Cache-Control": "no-store"}
    if form == "html":
        headers["Content-Security-Policy"] = OF_AN_OFFER
    return Response(offer, media_type=MEDIA_TYPES[form], headers=headers)


def job_sheet(visit: Visit, number: str) -> Response:
    """What the workshop reads of a quote, as PDF."""
    with visit.quoting() as quoting:
        content = quoting.job_sheet(number, _revision(visit), form="pdf")
    headers = {"Content-Disposition": f'inline; filename="{step(number)}-job-sheet.pdf"', "Cache-Control": "no-store"}
    return Response(content, media_type=MEDIA_TYPES["pdf"], headers=headers)


def sent_document(visit: Visit, number: str, offer: str) -> Response:
    """An offer as it went out: its PDF, or the mail."""
    is_mail = visit.query.get("form") == "mail"
    with visit.quoting() as quoting:
        content = quoting.sent_file(offer, "mail" if is_mail else "pdf")
    name = f"{step(number)}-{step(offer)}.{'eml' if is_mail else 'pdf'}"
    headers = {"Content-Disposition": f'{"attachment" if is_mail else "inline"}; filename="{name}"', "Cache-Control": "no-store"}
    return Response(content, media_type=SENT_AS["mail" if is_mail else "pdf"], headers=headers)


def sent(visit: Visit, number: str, *, today: date) -> Response:
    """Send the offer by mail, or make the mail as a file; with what was typed where it cannot be."""
    said = visit.typed
    document = {
        "to": [word for word in ADDRESSES_APART.split(said.get("to", "").strip()) if word], "language": said.get("language") or "en",
        "paper": said.get("paper") or "a4", "message": said.get("message", "").replace("\r\n", "\n").strip(), "send": said.get("send") or "mail",
    }  # fmt: skip
    key = said.get("asked_as") or None
    return _done(visit, number, today, lambda quoting: quoting.send_quote(number, as_contract(OfferRequest, document), key))


def _offers(quoting: Client, number: str) -> tuple[SentOffer, ...]:
    """What was sent; nothing for a key that may not see it."""
    try:
        return quoting.sent_offers(number).items
    except ServerRefused as refusal:
        if refusal.status != 403:
            raise
        return ()


def decided(visit: Visit, number: str, *, today: date) -> Response:
    """Record what the customer decided, and show the quote; with what was typed where it cannot be."""
    said = visit.typed
    accepts = said.get("decision") == "accepted"
    names = ("by", "note", "purchase_order") if accepts else ("by", "note", "reason")
    document: dict[str, Any] = {
        "decision": said.get("decision"),
        **{name: said[name].strip() for name in names if said.get(name, "").strip()},
    }
    if accepts and said.get("quantity", "").isdecimal():
        document["quantity"] = int(said["quantity"])
    if accepts and said.get("confirm_expired"):
        document["confirm_expired"] = True
    return _done(visit, number, today, lambda quoting: quoting.decide(number, as_contract(DecisionRequest, document)))


def undone(visit: Visit, number: str, *, today: date) -> Response:
    """Take a decline back, and show the quote; with what was typed where it cannot be."""
    document = {name: visit.typed.get(name, "").strip() for name in ("by", "reason")}
    return _done(visit, number, today, lambda quoting: quoting.undo_decision(number, as_contract(UndoRequest, document)))


def requoted(visit: Visit, number: str, *, today: date) -> Response:
    """Ask for the next revision, at today's rates and for other quantities where they are said."""
    return _done(visit, number, today, lambda quoting: quoting.requote(number, _changes(visit.typed.get("quantities", ""))))


def _changes(quantities: str) -> dict[str, list[int]]:
    asked = quantities_in(quantities)
    return {"quantities": asked} if asked else {}


def _done(visit: Visit, number: str, today: date, act: Callable[[Client], object]) -> Response:
    """The quote after `act` was done to it, or as it stands with what was typed and why that will not do."""
    try:
        with visit.quoting() as quoting:
            act(quoting)
    except AnswersUnusable as fault:
        return quote_page(visit, number, today=today, fault=fault, status=422)
    except ServerRefused as refusal:
        if refusal.status in (401, 403, 404):
            raise
        return quote_page(visit, number, today=today, fault=refusal, status=refusal.status)
    return _to(number)


def _to(number: str) -> Response:
    return Response(status_code=303, headers={"Location": f"/quotes/{step(number)}"})
