"""A request for a page: who is signed in, what was typed, whom it may ask; and what becomes of a session that has ended and of a refusal."""

from __future__ import annotations

import asyncio
import logging
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import quote as in_query
from urllib.parse import urlsplit

from anyio import CapacityLimiter, to_thread
from fastapi import Request, Response
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException

from services.chassis.rate_source import RatesUnavailable
from services.chassis.resources import Resources
from services.client import Client, Patience
from services.client.errors import ClientError, ContactLost, ServerRefused, ServerUnreachable
from services.desk.errors import DeskError, PartAway
from services.desk.pages.frame import page
from services.desk.pages.session import COOKIE, IDLE_S, REMEMBERED_S, RENEWED_AFTER_S, SECURE_COOKIE, Seal, Session
from shared_schemas.problem import Explained

MOST_FIELDS = 700
MOST_FIELD_BYTES = 6 * 2**20
FORM_WITHIN_S = 60.0
FORM_TOKEN = "form_token"  # nosec B105  the name of a field
HELD = "held."
"""Fields of a form whose session had ended, while its person signs in again."""
SAYS_ITSELF = "A browser says itself whence a form comes; this one came from another site, or from a page of before you signed in."

log = logging.getLogger(__name__)
_pages = CapacityLimiter(8)
"""Whoever makes a page asks other services, which may be routes of this very process and need threads too."""


@dataclass(frozen=True)
class Upload:
    """A file that came with a form."""

    name: str
    content: bytes


@dataclass(frozen=True)
class Visit:
    """One request of somebody who is signed in."""

    session: Session
    seal: Seal
    tools: Resources
    path: str
    query: Mapping[str, str]
    typed: Mapping[str, str] = field(default_factory=dict)
    file: Upload | None = None

    def quoting(self) -> Client:
        """The client of this person for quotes; close it."""
        return self._client(self.tools.settings.quoting_url)

    def checking(self) -> Client:
        """The client of this person for the check of a lens; close it."""
        return self._client(self.tools.settings.check_url)

    def rates(self) -> Client:
        """The client of this person for rates; close it."""
        return self._client(self.tools.settings.rates_url)

    def _client(self, origin: str) -> Client:
        return Client(url=origin, key=self.session.key, patience=Patience(tries=2, all_waits_s=1.0))

    def page(self, template: str, *, status: int = 200, **filled: Any) -> Response:
        """A page in the frame of whoever is signed in."""
        return page(
            template, status=status, signed_in=True, form_token=self.seal.form_token(self.session), path=self.path, **filled
        )


Work = Callable[[Visit], Response]


async def visited(request: Request, tools: Resources, work: Work) -> Response:
    """The page that `work` makes for whoever is signed in; the page of signing in for everybody else."""
    seal = seal_of(tools)
    session = session_of(request, seal)
    if session is None:
        return sign_in_again(request)
    try:
        typed, file = await form_of(request)
    except Unreadable as fault:
        return error_page(fault.status, fault.title, fault.detail)
    if session.is_over(time.time()):
        return sign_in_again(request, typed, file, held_for=session.key_id)
    if request.method == "POST" and not (comes_from_here(request) and seal.is_of(session, typed.get(FORM_TOKEN, ""))):
        return error_page(403, "The form was not taken", SAYS_ITSELF)
    kept = {name: value for name, value in typed.items() if name != FORM_TOKEN}
    visit = Visit(session, seal, tools, request.url.path, dict(request.query_params), kept, file)
    try:
        answer = await to_thread.run_sync(_worked, work, visit, limiter=_pages)
    except Exception:
        log.exception("unforeseen", extra={"page": request.url.path})
        return error_page(
            500,
            "Something unforeseen broke",
            f"It is logged under the request {getattr(request.state, 'id', '')}. What you sent may not have been taken.",
        )
    if time.time() - session.used_at > RENEWED_AFTER_S:
        remember(answer, request, seal, Session(session.key, session.name, time.time()))
    return answer


def _worked(work: Work, visit: Visit) -> Response:
    try:
        return work(visit)
    except ServerRefused as refusal:
        if refusal.status == 401:
            return sign_in_page(
                401, fault="Your key is no longer good: it has expired, or was revoked or exchanged.", then=visit.path
            )
        told: Explained = refusal
        status, title = refusal.status, refusal.problem.title.rstrip(".")
    except (ServerUnreachable, ContactLost, RatesUnavailable):
        status, title, told = 503, "A part of the suite does not answer", PartAway("quoting or rates")
    except ClientError as fault:
        status, title, told = 502, "The answer of the suite cannot be read", fault
    except DeskError as fault:
        status, title, told = 422, "What was sent cannot be used", fault
    return visit.page("error.html", status=status, heading=title, detail=str(told), details=told.errors)


class Unreadable(Exception):
    """A form that is not read: too large, too slow, or no form."""

    def __init__(self, status: int, title: str, detail: str) -> None:
        self.status, self.title, self.detail = status, title, detail
        super().__init__(detail)


async def form_of(request: Request) -> tuple[dict[str, str], Upload | None]:
    """What was typed, by field, and the file that came with it. Raises `Unreadable`."""
    if request.method != "POST":
        return {}, None
    try:
        async with asyncio.timeout(FORM_WITHIN_S):
            async with request.form(max_files=1, max_fields=MOST_FIELDS, max_part_size=MOST_FIELD_BYTES) as form:
                return _typed(form), await _file(form)
    except TimeoutError:
        raise Unreadable(408, "The form came too slowly", f"It was not here within {FORM_WITHIN_S:g} s.") from None
    except (MultiPartException, HTTPException) as fault:
        too_large = getattr(fault, "status_code", 400) == 413
        title = "The form is too large" if too_large else "The form cannot be read"
        told = getattr(fault, "message", None) or getattr(fault, "detail", "")
        raise Unreadable(
            413 if too_large else 400, title, f"{told} Go back with your browser: what you typed is still there."
        ) from fault


def _typed(form: FormData) -> dict[str, str]:
    return {name: value for name, value in form.items() if isinstance(value, str)}


async def _file(form: FormData) -> Upload | None:
    for value in form.values():
        if isinstance(value, UploadFile) and value.filename:
            return Upload(value.filename[:200], await value.read())
    return None


def seal_of(tools: Resources) -> Seal:
    """What seals the sessions of this deployment."""
    return Seal(tools.settings.service_key.get_secret_value())


def session_of(request: Request, seal: Seal) -> Session | None:
    """The session that a request shows, over or not."""
    cookie = request.cookies.get(SECURE_COOKIE) or request.cookies.get(COOKIE)
    return seal.opened(cookie) if cookie else None


def comes_from_here(request: Request) -> bool:
    """Whether a form was sent by a page of ours, as far as its browser says."""
    site = request.headers.get("sec-fetch-site")
    if site is not None:
        return site in ("same-origin", "none")
    origin = request.headers.get("origin")
    return origin is None or urlsplit(origin).netloc == request.headers.get("host", "")


def is_by_tls(request: Request) -> bool:
    """Whether the browser came by TLS, here or at the front."""
    return "https" in (request.url.scheme, request.headers.get("x-forwarded-proto"))


def remember(answer: Response, request: Request, seal: Seal, session: Session) -> None:
    """Let the browser keep the session."""
    by_tls = is_by_tls(request)
    answer.set_cookie(
        SECURE_COOKIE if by_tls else COOKIE, seal.sealed(session), max_age=REMEMBERED_S, path="/", secure=by_tls, httponly=True, samesite="lax",
    )  # fmt: skip


def sign_in_again(
    request: Request, typed: Mapping[str, str] | None = None, file: Upload | None = None, held_for: str = ""
) -> Response:  # fmt: skip
    """The page of signing in, with what was typed where a session has ended in the middle of a form."""
    path = request.url.path
    if request.method != "POST":
        asked = path + (f"?{request.url.query}" if request.url.query else "")
        return Response(
            status_code=303, headers={"Location": "/sign-in" + ("" if asked == "/" else f"?then={in_query(asked, safe='')}")}
        )
    if typed is None:
        return sign_in_page(401, fault="Sign in first; nothing of the form was read. Your browser's way back has it still.")
    held = {name: value for name, value in typed.items() if name != FORM_TOKEN}
    hours = IDLE_S / 3600
    fault = f"Your session has ended, as nothing was asked for {hours:g} hours. Sign in again: what you typed is kept."
    if file is not None:
        fault += f" The file {file.name} must be chosen again."
    return sign_in_page(401, fault=fault, then=path, held=held, held_for=held_for)


def sign_in_page(
    status: int = 200, *, fault: str = "", then: str = "/", held: Mapping[str, str] | None = None, held_for: str = ""
) -> Response:  # fmt: skip
    """The page of signing in."""
    return page("sign_in.html", status=status, signed_in=False, fault=fault, then=then, held=held or {}, held_for=held_for)


def error_page(status: int, title: str, detail: str) -> Response:
    """A page that says in words what is wrong."""
    return page("error.html", status=status, signed_in=False, heading=title, detail=detail, details=())
