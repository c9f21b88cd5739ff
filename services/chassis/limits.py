"""The largest head and body that are read at all. Kept before anything is parsed, with or without a Content-Length."""

from __future__ import annotations

from collections.abc import Mapping

from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from services.chassis.refusals import Refused, refuse

MOST_HEAD_BYTES = 16 * 1024
"""Names and values of all headers, path and query. The front allows less; this holds where there is none."""


class BodyTooLarge(HTTPException):
    """More bytes came than are read. As an HTTP exception it passes through whoever was reading them."""

    def __init__(self, read: int, most: int) -> None:
        super().__init__(413, f"The body has {read} bytes or more; at most {most} are read.")


class RequestLimits:
    """Middleware: answers 413 to a body of more than `most_bytes` (or what `at_path` says of that very path), and 431 to a head of more than `MOST_HEAD_BYTES`."""

    def __init__(self, app: ASGIApp, *, most_bytes: int, at_path: Mapping[str, int] | None = None) -> None:
        self._app = app
        self._most_bytes = most_bytes
        self._at_path = dict(at_path or {})

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        head = sum(len(name) + len(value) for name, value in scope["headers"]) + len(scope["path"]) + len(scope["query_string"])
        if head > MOST_HEAD_BYTES:
            detail = f"Headers, path and query have {head} bytes; at most {MOST_HEAD_BYTES} are read."
            await refuse(scope, receive, send, Refused("headers-too-large", detail))
            return
        most_bytes = self._at_path.get(scope["path"], self._most_bytes)
        announced = dict(scope["headers"]).get(b"content-length", b"0")
        if announced.isdigit() and int(announced) > most_bytes:
            await self._refuse(scope, receive, send, int(announced), most_bytes)
            return
        read = 0
        answered = False

        async def counted() -> Message:
            nonlocal read
            message = await receive()
            read += len(message.get("body", b""))
            if read > most_bytes:
                raise BodyTooLarge(read, most_bytes)
            return message

        async def watched(message: Message) -> None:
            nonlocal answered
            answered = True
            await send(message)

        try:
            await self._app(scope, counted, watched)
        except BodyTooLarge:
            if not answered:
                await self._refuse(scope, receive, send, read, most_bytes)

    async def _refuse(self, scope: Scope, receive: Receive, send: Send, read: int, most_bytes: int) -> None:
        detail = f"The body has {read} bytes or more; at most {most_bytes} are read."
        await refuse(scope, receive, send, Refused("body-too-large", detail))
