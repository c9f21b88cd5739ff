"""A request that ends before its route has an answer: what is said, and how it is sent without a framework."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Mapping
from contextlib import suppress

from starlette.types import Receive, Scope, Send

from services.chassis.problems import MEDIA_TYPE, problem
from shared_schemas.problem import Problem, ProblemDetail

MOST_LINGERING_BYTES = 64 * 1024
LINGERS_S = 1.0
"""A body that nobody wants is thrown away when it is short; of a longer one nothing is taken from the network. The connection is held so long before it
is closed, as the end of one that still has bytes in it is a reset, which a caller may see before it sees the answer."""


class Refused(Exception):
    """Ends a request with a problem of the table; headers may go with it."""

    def __init__(self, slug: str, detail: str, *, errors: tuple[ProblemDetail, ...] = (), **headers: str) -> None:
        self.slug = slug
        self.errors = errors
        self.headers = {name.replace("_", "-"): value for name, value in headers.items()}
        super().__init__(detail)

    def document(self, instance: str | None) -> Problem:
        """The problem document of this refusal."""
        return problem(self.slug, str(self), instance=instance, errors=self.errors)


def header_of(scope: Scope, name: bytes) -> str | None:
    """The first header of that name (in small letters), `None` when there is none."""
    for given, value in scope["headers"]:
        if given == name:
            text: str = value.decode("latin-1")
            return text
    return None


def announced_bytes(scope: Scope) -> int | None:
    """The length of the body as its head says: 0 for none, `None` when it comes in pieces of no stated sum."""
    if header_of(scope, b"transfer-encoding") is not None:
        return None
    length = header_of(scope, b"content-length") or "0"
    return int(length) if length.isascii() and length.isdigit() else 0


def instance_of(scope: Scope) -> str | None:
    """How a problem document names this request."""
    named = scope.get("state", {}).get("id")
    return f"/requests/{named}" if named else None


async def answer(send: Send, document: Problem, headers: Mapping[str, str] | None = None, *, more: bool = False) -> None:
    """Send a problem document; with `more` the answer is complete, and the exchange stays open."""
    content = json.dumps(document.model_dump(mode="json", exclude_none=True)).encode()
    known = {"content-type": MEDIA_TYPE, "content-length": str(len(content))} | dict(headers or {})
    fields = [(name.lower().encode("latin-1"), value.encode("latin-1")) for name, value in known.items()]
    await send({"type": "http.response.start", "status": document.status, "headers": fields})
    await send({"type": "http.response.body", "body": content, "more_body": more})


async def refuse(scope: Scope, receive: Receive, send: Send, refusal: Refused) -> None:
    """Answer before anything of the body is read, and close the connection that a body is coming on."""
    document = refusal.document(instance_of(scope))
    if announced_bytes(scope) == 0:
        await answer(send, document, refusal.headers)
        return
    await answer(send, document, refusal.headers | {"Connection": "close"}, more=True)
    with suppress(TimeoutError):
        async with asyncio.timeout(LINGERS_S):
            await _linger(scope, receive)
    await send({"type": "http.response.body", "body": b""})


async def _linger(scope: Scope, receive: Receive) -> None:
    """Return when the caller has sent all of a short body, or is gone; with a long one, never."""
    announced = announced_bytes(scope)
    left = 0 if announced is None or announced > MOST_LINGERING_BYTES else MOST_LINGERING_BYTES
    while left > 0:
        message = await receive()
        if message["type"] != "http.request" or not message.get("more_body", False):
            return
        left -= len(message.get("body", b""))
    await asyncio.Event().wait()
