"""The command that sends an offer: what is asked, and what is written."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
from typer.testing import CliRunner

from services.desk.command import app

SENT = json.loads((Path(__file__).resolve().parents[3] / "shared_schemas/examples/SentOffer.json").read_text(encoding="utf-8"))
ANY_SERVER = ["--url", "http://desk.test", "--key", "k"]


def run(*arguments: str) -> Any:
    return CliRunner().invoke(app, ["send", "Q-1", *arguments, *ANY_SERVER])


def test_an_offer_is_sent_to_whom_is_named(server: Callable[..., Any], reach: Callable[[httpx.BaseTransport], None]) -> None:
    served = server((201, SENT))
    reach(served.transport)
    done = run("--to", "a@b.example", "--to", "c@d.example", "--language", "fr", "--idempotency-key", "mine")
    assert done.exit_code == 0, done.output
    assert "O-2026-000012: sent to purchasing@vinterholm.example" in " ".join(done.output.split())
    (request,) = served.requests
    asked = json.loads(request.content)
    assert (request.url.path, asked["to"], asked["send"]) == ("/v1/quotes/Q-1/offers", ["a@b.example", "c@d.example"], "mail")
    assert request.headers["Idempotency-Key"] == "mine"


def test_a_file_has_the_mail_as_it_was_kept(
    server: Callable[..., Any], reach: Callable[[httpx.BaseTransport], None], tmp_path: Path
) -> None:
    mail = httpx.Response(200, content=b"From: a\r\n\r\nb", headers={"Content-Type": "message/rfc822"})
    served = server((201, SENT), mail)
    reach(served.transport)
    out = tmp_path / "offer.eml"
    assert run("--to", "a@b.example", "--eml", str(out)).exit_code == 0
    assert json.loads(served.requests[0].content)["send"] == "file"
    assert out.read_bytes() == b"From: a\r\n\r\nb"


def test_an_address_that_is_none_is_said_before_anything_is_sent(
    server: Callable[..., Any], reach: Callable[[httpx.BaseTransport], None]
) -> None:
    served = server((201, SENT))
    reach(served.transport)
    done = run("--to", "a@b.example\nBcc: c@d.example")
    assert done.exit_code == 2
    assert "an address such as name@example.com" in done.output
    assert served.requests == []
