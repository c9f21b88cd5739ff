"""What the server cannot read is answered as a problem document."""

from __future__ import annotations

import json
from types import SimpleNamespace
from typing import Any

import httptools
import pytest
from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from services.chassis.unreadable import answer_with_problems


class Written:
    """A connection that keeps what is written to it."""

    def __init__(self) -> None:
        self.sent = b""
        self.is_closed = False

    def write(self, content: bytes) -> None:
        """Keep it."""
        self.sent += content

    def close(self) -> None:
        """No more will come."""
        self.is_closed = True


@pytest.mark.parametrize(
    ("request_line", "status", "slug"),
    [
        (b"FOO / HTTP/1.1\r\n\r\n", 501, "method-unknown"),
        (b"\x16\x03\x01\x02", 501, "method-unknown"),
        (b"GET / XTTP/9\r\n\r\n", 400, "not-http"),
    ],
)
def test_what_cannot_be_read_is_answered_as_a_problem(
    request_line: bytes, status: int, slug: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(HttpToolsProtocol, "send_400_response", HttpToolsProtocol.send_400_response)
    answer_with_problems()
    protocol: Any = object.__new__(HttpToolsProtocol)
    protocol.transport = Written()
    protocol.logger = SimpleNamespace(warning=lambda _: None)
    protocol._unset_keepalive_if_required = lambda: None
    protocol.headers = []
    protocol.parser = httptools.HttpRequestParser(SimpleNamespace())
    protocol.data_received(request_line)
    head, _, body = protocol.transport.sent.partition(b"\r\n\r\n")
    assert head.startswith(f"HTTP/1.1 {status} ".encode())
    assert protocol.transport.is_closed
    assert json.loads(body)["type"] == f"/problems#{slug}"
