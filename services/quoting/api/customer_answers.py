"""The pages on which customers answer offers: without a key, by the code that stands on the offer and is known to nobody else."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException

from services.chassis.callers import Failures
from services.chassis.json_bodies import CheckedRoute
from services.chassis.web import Tools
from services.quoting.api.parts import Now
from services.quoting.service.answering import Shown, answer_offer, offer_of_code, offer_to_answer
from services.quoting.sheet.answering import Typed, answer_page, page_without_offer
from services.quoting.store.offers import StoredOffer

router = APIRouter(route_class=CheckedRoute, include_in_schema=False)
HTML = "text/html"
HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; base-uri 'none'; frame-ancestors 'none'; form-action 'self'; style-src 'unsafe-inline'"
    ),
    "Cache-Control": "no-store",
    "X-Robots-Tag": "noindex",
}
Code = Annotated[str, Path(max_length=200)]
MOST_FIELDS = 20


@router.get("/offers/{code}")
def show_offer(code: Code, http: Request, tools: Tools, now: Now) -> Response:
    sent = _found(code, http, tools)
    return sent if isinstance(sent, Response) else _answer(offer_to_answer(sent, now=now, resources=tools))


@router.post("/offers/{code}")
async def answer_by_code(code: Code, http: Request, tools: Tools, now: Now) -> Response:
    sent = await run_in_threadpool(_found, code, http, tools)
    if isinstance(sent, Response):
        return sent
    typed = await _typed(http)
    return _answer(await run_in_threadpool(answer_offer, sent, typed, now=now, resources=tools))


def _found(code: str, http: Request, tools: Tools) -> StoredOffer | Response:
    """The offer of a code, or the page that says there is none. Who tries many codes has to wait, as who tries many keys."""
    failures: Failures = http.app.state.failures
    address = http.state.address
    wait_s = failures.wait_s(address)
    if wait_s:
        page = answer_page(page_without_offer("TOO_OFTEN", seconds=wait_s))
        return Response(page, 429, media_type=HTML, headers=HEADERS | {"Retry-After": str(wait_s)})
    sent = offer_of_code(code, tools)
    if sent is None:
        failures.count(address)
        return Response(answer_page(page_without_offer("UNKNOWN_CODE")), 404, media_type=HTML, headers=HEADERS)
    return sent


async def _typed(http: Request) -> Typed:
    """What a form has; of one that cannot be read nothing."""
    try:
        form = await http.form(max_files=0, max_fields=MOST_FIELDS)
    except HTTPException:
        form = FormData()
    given = {name: form.get(name) for name in ("answer", "quantity", "name", "purchase_order", "note")}
    return Typed(**{name: value if isinstance(value, str) else "" for name, value in given.items()})


def _answer(shown: Shown) -> Response:
    return Response(answer_page(shown.page), shown.status, media_type=HTML, headers=HEADERS)
