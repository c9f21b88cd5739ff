"""The desk and the quote sheet: what is asked for, where it is written, and what is said when that does not work."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
import pytest
from typer.testing import CliRunner

from services.client import Client
from services.client.errors import AnswerNotUnderstood, ServerRefused
from services.desk.command import app

PAGE = "<!doctype html>\n<p>⌀ 32 ±0.02</p>\n"
ANY_SERVER = ["--url", "http://desk.test", "--key", "k"]
NOT_READY = {"type": "/problems#not-found", "title": "The quote is not ready", "status": 404, "detail": "It is under way."}


def html(text: str = PAGE, kind: str = "text/html; charset=utf-8") -> httpx.Response:
    return httpx.Response(200, content=text.encode(), headers={"Content-Type": kind})


def desk(served: Any) -> Client:
    return Client(url="http://desk.test", key="k", transport=served.transport)


def test_a_sheet_is_asked_for_as_html_in_the_revision_named(server: Callable[..., Any]) -> None:
    served = server(html())
    assert desk(served).sheet("Q-1", 2) == PAGE.encode()
    (request,) = served.requests
    assert str(request.url) == "http://desk.test/v1/quotes/Q-1/sheet?revision=2"
    assert request.headers["Accept"].startswith("text/html")


def test_a_refusal_is_a_refusal_and_a_page_of_another_kind_is_not_taken(server: Callable[..., Any]) -> None:
    with pytest.raises(ServerRefused, match="not ready") as told:
        desk(server((404, NOT_READY))).sheet("Q-1")
    assert told.value.status == 404
    with pytest.raises(AnswerNotUnderstood, match="application/json, not text/html"):
        desk(server(html("{}", "application/json"))).sheet("Q-1")


def test_the_command_writes_the_page_and_says_where(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(Client, "sheet", lambda *_, **__: PAGE.encode())
    out = tmp_path / "quotation.html"
    ran = CliRunner().invoke(app, ["sheet", "Q-1", "--out", str(out), *ANY_SERVER])
    assert ran.exit_code == 0, ran.output
    assert out.read_bytes() == PAGE.encode()
    assert "quotation.html" in ran.output.replace("\n", "")


def test_a_file_that_cannot_be_written_is_a_sentence_and_exit_code_2(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(Client, "sheet", lambda *_, **__: PAGE.encode())
    ran = CliRunner().invoke(app, ["sheet", "Q-1", "--out", str(tmp_path / "nowhere" / "q.html"), *ANY_SERVER])
    assert ran.exit_code == 2
    assert "cannot be written: No such file or directory." in ran.output


def test_the_ending_says_which_kind_is_asked_for_with_language_and_paper(
    server: Callable[..., Any], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    served = server(httpx.Response(200, content=b"%PDF-1.7", headers={"Content-Type": "application/pdf"}))
    assert desk(served).sheet("Q-1", form="pdf", language="de", paper="letter") == b"%PDF-1.7"
    (request,) = served.requests
    assert str(request.url) == "http://desk.test/v1/quotes/Q-1/sheet?language=de&paper=letter"
    assert request.headers["Accept"].startswith("application/pdf")
    told: dict[str, Any] = {}
    monkeypatch.setattr(Client, "sheet", lambda *_, **more: told.update(more) or b"%PDF")
    out = tmp_path / "offer.PDF"
    assert CliRunner().invoke(app, ["sheet", "Q-1", "--out", str(out), "--language", "fr", *ANY_SERVER]).exit_code == 0
    assert told == {"form": "pdf", "language": "fr", "paper": None}
    assert out.read_bytes() == b"%PDF"
    ran = CliRunner().invoke(app, ["sheet", "Q-1", "--out", str(tmp_path / "offer.docx"), *ANY_SERVER])
    assert ran.exit_code == 2
    assert ".pdf or .html" in " ".join(ran.output.split())


def test_a_job_sheet_is_asked_for_at_its_quantity_and_said_to_be_internal(
    server: Callable[..., Any], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    served = server(html())
    assert desk(served).job_sheet("Q-1", 2, quantity=25, paper="letter") == PAGE.encode()
    (request,) = served.requests
    assert str(request.url) == "http://desk.test/v1/quotes/Q-1/job-sheet?revision=2&quantity=25&paper=letter"
    monkeypatch.setattr(Client, "job_sheet", lambda *_, **__: PAGE.encode())
    out = tmp_path / "job.html"
    ran = CliRunner().invoke(app, ["job-sheet", "Q-1", "--out", str(out), "--quantity", "25", *ANY_SERVER])
    assert ran.exit_code == 0, ran.output
    assert out.read_bytes() == PAGE.encode()
    assert "internal, not for the customer" in " ".join(ran.output.split())
    wrong = CliRunner().invoke(app, ["job-sheet", "Q-1", "--out", str(tmp_path / "job.png"), *ANY_SERVER])
    assert wrong.exit_code == 2
    assert ".pdf or .html" in wrong.output
