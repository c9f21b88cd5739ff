"""Bodies are read whole before a route sees them, within a stated time, and only so many at once lie in memory."""

from __future__ import annotations

import asyncio

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from services.chassis.key_limits import KeyLimits
from services.chassis.refusals import Refused, announced_bytes, refuse

MOST_LARGE = 3
"""Bodies larger than the usual limit that a process works on at once; each may take some ten times its bytes while it is parsed."""
MOST_SMALL_BYTES = 64 * 1024 * 1024
"""All other bodies of a process together."""


class CallerGone(Exception):
    """The caller hung up while its body was read."""


class BodyReader:
    """Middleware: answers 408 to a body that is not there within `within_s`, and 503 when those under way take all the memory there is for them."""

    def __init__(self, app: ASGIApp, *, within_s: float, usual_bytes: int, limits: KeyLimits | None = None) -> None:
        self._app = app
        self._within_s = within_s
        self._usual_bytes = usual_bytes
        self._limits = limits
        self._large = 0
        self._small_bytes = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        announced = announced_bytes(scope) if scope["type"] == "http" and "caller" in scope["state"] else 0
        if announced == 0:  # or from somebody unknown, of whom nothing is read
            await self._app(scope, receive, send)
            return
        body = bytearray()
        held = _Held()
        try:
            try:
                if self._limits is not None:
                    self._limits.take_bytes(scope["state"]["caller"], announced or 0)
                async with asyncio.timeout(self._within_s):
                    await self._read(receive, body, held, announced or 0)
            except TimeoutError:
                detail = f"{len(body)} bytes of the body came within {self._within_s:g} s, and no end; a body must be here by then."
                await refuse(scope, receive, send, Refused("body-too-slow", detail))
                return
            except Refused as refusal:
                await refuse(scope, receive, send, refusal)
                return
            except CallerGone:
                return
            scope["state"]["body_read"] = True
            if self._limits is not None and announced is None:
                self._limits.count_bytes(scope["state"]["caller"], len(body))
            await self._app(scope, _again(bytes(body), receive), send)
        finally:
            self._large -= held.large
            self._small_bytes -= held.small_bytes

    async def _read(self, receive: Receive, body: bytearray, held: _Held, announced: int) -> None:
        self._hold(announced, held)
        while True:
            message = await receive()
            if message["type"] != "http.request":
                raise CallerGone
            body += message.get("body", b"")
            if not message.get("more_body", False):
                return
            self._hold(len(body), held)

    def _hold(self, size: int, held: _Held) -> None:
        """Count a body of `size` bytes, which may have grown since it was counted last; raises `Refused` when there is no room."""
        if size > self._usual_bytes:
            if held.large:
                return
            if self._large >= MOST_LARGE:
                raise Refused(
                    "busy", f"{MOST_LARGE} large bodies are being worked on; send this one a little later.", Retry_After="5"
                )
            held.large = 1
            self._large += 1
            self._small_bytes -= held.small_bytes
            held.small_bytes = 0
        elif size > held.small_bytes:
            if self._small_bytes + size - held.small_bytes > MOST_SMALL_BYTES:
                raise Refused("busy", "More requests are being worked on than there is memory for; try again.", Retry_After="2")
            self._small_bytes += size - held.small_bytes
            held.small_bytes = size


class _Held:
    """What one body takes of the room there is."""

    large = 0
    small_bytes = 0


def _again(body: bytes, receive: Receive) -> Receive:
    """The body in one piece, and after it whatever comes on the connection."""
    given = False

    async def replayed() -> Message:
        nonlocal given, body
        if given:
            return await receive()
        given = True
        message: Message = {"type": "http.request", "body": body, "more_body": False}
        body = b""
        return message

    return replayed
