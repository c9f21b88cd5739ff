"""Every request has a name, which its answer and the log carry; what was refused is one line there."""

from __future__ import annotations

import asyncio
import logging
import secrets
import time
from collections.abc import Mapping
from functools import partial

from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from services.chassis import tracing
from services.chassis.logs import bind
from services.chassis.metrics import RequestMeter
from services.chassis.refusals import header_of

log = logging.getLogger(__name__)


class NamedRequests:
    """Middleware: names the request, counts it, gives each answer the headers that it does not have itself, and logs a refusal."""

    def __init__(self, app: ASGIApp, *, meter: RequestMeter, headers: Mapping[str, str]) -> None:
        self._app = app
        self._meter = meter
        self._headers = [(name.lower().encode(), value.encode()) for name, value in headers.items()]

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        began = time.perf_counter()
        given = header_of(scope, b"x-request-id") or ""
        state = scope.setdefault("state", {})
        state["id"] = given if given.isascii() and given.isalnum() and len(given) <= 64 else secrets.token_hex(8)
        state["trace"] = tracing.trace_of(header_of(scope, b"traceparent"))
        bind(request=state["id"], trace=state["trace"])
        answered = False

        async def named(message: Message) -> None:
            nonlocal answered
            if message["type"] == "http.response.start":
                answered = True
                self._settle(scope, message["status"], began)
                message = {**message, "headers": self._completed(message.get("headers", ()), state["id"])}
            await send(message)

        try:
            await self._app(scope, receive, named)
        except Exception:
            if not answered:
                self._settle(scope, 500, began)
            raise

    def _completed(self, given: list[tuple[bytes, bytes]], request_id: str) -> list[tuple[bytes, bytes]]:
        there = {name.lower() for name, _ in given}
        return [*given, (b"x-request-id", request_id.encode()), *(one for one in self._headers if one[0] not in there)]

    def _settle(self, scope: Scope, status: int, began: float) -> None:
        self._meter.count(Request(scope), status=status, began=began)
        if status < 400:
            return
        caller = scope["state"].get("caller")
        told = {
            "method": scope["method"][:20],
            "route": getattr(scope.get("route"), "path_format", "none"),
            "status": status,
            "key": caller.key_id if caller else None,
            "address": scope["state"].get("address"),
        }
        # Where many are refused at once, their answers go before the lines about them.
        asyncio.get_running_loop().call_soon(partial(log.info, "refused" if status < 500 else "failed", extra=told))
