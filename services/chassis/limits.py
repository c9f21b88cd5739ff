"""The largest body that is read at all. Kept before anything is parsed, with or without a Content-Length."""

from __future__ import annotations

import json
from typing import Any

from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from services.chassis.problems import MEDIA_TYPE, problem


class BodyTooLarge(HTTPException):
    """More bytes came than are read. As an HTTP exception it passes through whoever was reading them."""

    def __init__(self, read: int, most: int) -> None:
        super().__init__(413, f"The body has {read} bytes or more; at most {most} are read.")


class BodyLimit:
    """Middleware: answers 413 to a body of more than `most_bytes`."""

    def __init__(self, app: ASGIApp, *, most_bytes: int) -> None:
        self._app = app
        self._most_bytes = most_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        announced = dict(scope["headers"]).get(b"content-length", b"0")
        if announced.isdigit() and int(announced) > self._most_bytes:
            await self._refuse(send, int(announced))
            return
        read = 0
        answered = False

        async def counted() -> Message:
            nonlocal read
            message = await receive()
            read += len(message.get("body", b""))
            if read > self._most_bytes:
                raise BodyTooLarge(read, self._most_bytes)
            return message

        async def watched(message: Message) -> None:
            nonlocal answered
            answered = True
            await send(message)

        try:
            await self._app(scope, counted, watched)
        except BodyTooLarge:
            if not answered:
                await self._refuse(send, read)

    async def _refuse(self, send: Send, found: int) -> None:
        said = problem("body-too-large", f"The body has {found} bytes or more; at most {self._most_bytes} are read.")
        content = json.dumps(said.model_dump(mode="json", exclude_none=True)).encode()
        headers: list[Any] = [(b"content-type", MEDIA_TYPE.encode()), (b"content-length", str(len(content)).encode())]
        await send({"type": "http.response.start", "status": 413, "headers": headers})
        await send({"type": "http.response.body", "body": content})
