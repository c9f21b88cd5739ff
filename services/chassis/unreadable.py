"""What is no HTTP, or has a method that no standard knows, never comes to an application; the server itself answers it, as a problem document."""

from __future__ import annotations

import json
import sys
from http import HTTPStatus

import httptools
from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from services.chassis.problems import MEDIA_TYPE, problem


def answer_for(fault: BaseException | None) -> bytes:
    """The whole answer to a request that `fault` says cannot be read."""
    if isinstance(fault, httptools.HttpParserInvalidMethodError):
        document = problem("method-unknown", "Nothing here knows that method.")
    else:
        document = problem("not-http", "The request cannot be read as HTTP.")
    content = json.dumps(document.model_dump(mode="json", exclude_none=True)).encode()
    head = (
        f"HTTP/1.1 {document.status} {HTTPStatus(document.status).phrase}\r\n"
        f"content-type: {MEDIA_TYPE}\r\ncontent-length: {len(content)}\r\n"
        "x-content-type-options: nosniff\r\ncache-control: no-store\r\nconnection: close\r\n\r\n"
    )
    return head.encode() + content


def answer_with_problems() -> None:
    """Let the server of this process answer so; it offers no setting for it, and calls this method while it handles the fault."""

    def send_400_response(self: HttpToolsProtocol, msg: str) -> None:
        self.transport.write(answer_for(sys.exception()))
        self.transport.close()

    HttpToolsProtocol.send_400_response = send_400_response  # type: ignore[method-assign]
