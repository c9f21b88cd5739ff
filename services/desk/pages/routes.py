"""The addresses of the pages."""

from __future__ import annotations

import time
from datetime import UTC, date, datetime
from functools import partial
from urllib.parse import urlsplit

from fastapi import APIRouter, Request, Response

from services.chassis.callers import Failures
from services.chassis.refusals import Refused
from services.chassis.resources import Resources
from services.chassis.web import Tools
from services.client import AsyncClient, Patience
from services.client.errors import ClientError, ServerRefused
from services.desk.pages import drafting, quotes, rate_pages
from services.desk.pages.frame import page, static_file
from services.desk.pages.help import GUIDES, guide_page, help_page
from services.desk.pages.session import COOKIE, SECURE_COOKIE
from services.desk.pages.visits import (
    FORM_TOKEN,
    HELD,
    SAYS_ITSELF,
    Unreadable,
    comes_from_here,
    error_page,
    form_of,
    remember,
    seal_of,
    session_of,
    sign_in_page,
    visited,
)

router = APIRouter(include_in_schema=False)

LARGER_BODIES = {"/drafts": 8 * 2**20, "/sign-in": 8 * 2**20}
"""A file in base64 with all that was answered, also while its person signs in again."""

LONGEST_KEY = 4096
_failures = Failures(free=10)
"""Addresses that try keys; the door of the service that is asked sees us and not them."""


@router.get("/static/{name}")
def static(name: str) -> Response:
    """Style and script."""
    found = static_file(f"/static/{name}")
    if found is None:
        raise Refused("not-found", f"There is nothing at /static/{name}.")
    return found


@router.get("/help")
def guides() -> Response:
    """The guides."""
    return help_page()


@router.get("/help/{name}")
def guide(name: str) -> Response:
    """One guide."""
    found = guide_page(name)
    return found if found is not None else error_page(404, "There is no such guide", f"The guides are {', '.join(GUIDES)}.")


@router.get("/sign-in")
def sign_in_form(request: Request) -> Response:
    """Where a person shows a key."""
    return sign_in_page(then=_local(request.query_params.get("then", "/")))


@router.post("/sign-in")
async def sign_in(request: Request, tools: Tools) -> Response:
    """Begin a session with a key that is good."""
    if not comes_from_here(request):
        return error_page(403, "You were not signed in", SAYS_ITSELF)
    try:
        typed, _ = await form_of(request)
    except Unreadable as fault:
        return error_page(fault.status, fault.title, fault.detail)
    held = {name.removeprefix(HELD): value for name, value in typed.items() if name.startswith(HELD)}
    then, held_for = _local(typed.get("then", "/")), typed.get("held_for", "")
    address = request.state.address
    wait_s = _failures.wait_s(address)
    key = typed.get("key", "").strip()
    wrong = f"Too many keys from your address were unknown; try again in {wait_s} s." if wait_s else await _fault_of(key, tools)
    if wrong:
        if not wait_s and key:
            _failures.count(address)
        return sign_in_page(429 if wait_s else 401, fault=wrong, then=then, held=held, held_for=held_for)
    seal = seal_of(tools)
    session = seal.begun(key, time.time())
    if held and held_for == session.key_id:
        answer = page("held.html", signed_in=True, form_token=seal.form_token(session), path=then, then=then, held=held)
    else:
        answer = Response(status_code=303, headers={"Location": "/" if held else then})
    remember(answer, request, seal, session)
    return answer


@router.post("/sign-out")
async def sign_out(request: Request, tools: Tools) -> Response:
    """End the session in this browser."""
    seal, session = seal_of(tools), session_of(request, seal_of(tools))
    try:
        typed, _ = await form_of(request)
    except Unreadable as fault:
        return error_page(fault.status, fault.title, fault.detail)
    if session is not None and not (comes_from_here(request) and seal.is_of(session, typed.get(FORM_TOKEN, ""))):
        return error_page(403, "You were not signed out", SAYS_ITSELF)
    answer = Response(status_code=303, headers={"Location": "/sign-in"})
    for name in (COOKIE, SECURE_COOKIE):
        answer.delete_cookie(name, path="/", secure=name == SECURE_COOKIE, httponly=True, samesite="lax")
    return answer


@router.get("/")
async def start(request: Request, tools: Tools) -> Response:
    """Where a day begins: a table to paste, and what waits for somebody."""
    return await visited(request, tools, lambda visit: drafting.start_page(visit, beside=quotes.attention(visit)))


@router.get("/drafts")
async def no_draft(request: Request, tools: Tools) -> Response:
    """A draft is kept nowhere: whoever loads its address again begins anew."""
    return Response(status_code=303, headers={"Location": "/"})


@router.post("/drafts")
async def draft(request: Request, tools: Tools) -> Response:
    """What was pasted, read; confirmed, its quote is asked for."""
    return await visited(request, tools, partial(drafting.drafted_page, today=_today()))


@router.get("/quotes")
async def list_of_quotes(request: Request, tools: Tools) -> Response:
    """Quotes, and the search for them."""
    return await visited(request, tools, quotes.list_page)


@router.get("/quotes/{number}")
async def quote(request: Request, tools: Tools, number: str) -> Response:
    """One quote."""
    return await visited(request, tools, partial(quotes.quote_page, number=number, today=_today()))


@router.get("/quotes/{number}/why")
async def why(request: Request, tools: Tools, number: str) -> Response:
    """What lies behind a figure."""
    return await visited(request, tools, partial(quotes.why_page, number=number))


@router.get("/quotes/{number}/offer")
async def offer(request: Request, tools: Tools, number: str) -> Response:
    """The customer's offer."""
    return await visited(request, tools, partial(quotes.offer_document, number=number))


@router.get("/quotes/{number}/job-sheet")
async def job_sheet(request: Request, tools: Tools, number: str) -> Response:
    """The job sheet."""
    return await visited(request, tools, partial(quotes.job_sheet, number=number))


@router.post("/quotes/{number}/offers")
async def send(request: Request, tools: Tools, number: str) -> Response:
    """The offer goes out."""
    return await visited(request, tools, partial(quotes.sent, number=number, today=_today()))


@router.get("/quotes/{number}/offers/{offer}")
async def sent_offer(request: Request, tools: Tools, number: str, offer: str) -> Response:
    """An offer as it went out."""
    return await visited(request, tools, partial(quotes.sent_document, number=number, offer=offer))


@router.post("/quotes/{number}/decision")
async def decide(request: Request, tools: Tools, number: str) -> Response:
    """What the customer decided."""
    return await visited(request, tools, partial(quotes.decided, number=number, today=_today()))


@router.post("/quotes/{number}/undo")
async def undo(request: Request, tools: Tools, number: str) -> Response:
    """A decline that was recorded by mistake."""
    return await visited(request, tools, partial(quotes.undone, number=number, today=_today()))


@router.post("/quotes/{number}/requote")
async def requote(request: Request, tools: Tools, number: str) -> Response:
    """The next revision."""
    return await visited(request, tools, partial(quotes.requoted, number=number, today=_today()))


@router.get("/rates")
async def rates(request: Request, tools: Tools) -> Response:
    """The rate tables."""
    return await visited(request, tools, rate_pages.tables_page)


@router.get("/rates/{table}")
async def rate_table(request: Request, tools: Tools, table: str) -> Response:
    """One rate table."""
    return await visited(request, tools, partial(rate_pages.table_page, table=table))


def _today() -> date:
    return datetime.now(UTC).date()


def _local(then: str) -> str:
    """An address of ours to go on to; anything else becomes the first page."""
    parts = urlsplit(then)
    is_ours = then.startswith("/") and not then.startswith("//") and "\\" not in then and not parts.netloc and then.isprintable()
    return then if is_ours else "/"


async def _fault_of(key: str, tools: Resources) -> str:
    """What is wrong with a key, nothing for a good one. Any role may see some page."""
    if not key or len(key) > LONGEST_KEY or not key.isascii() or not key.isprintable():
        return "Type your key; it begins with bw_."
    async with AsyncClient(url=tools.settings.quoting_url, key=key, patience=Patience(tries=1)) as quoting:
        try:
            await quoting.quotes(limit=1)
        except ServerRefused as refusal:
            return "" if refusal.status == 403 else str(refusal)
        except ClientError:
            return "The suite does not answer just now; try again in a moment."
    return ""
