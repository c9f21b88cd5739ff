"""The first day of a shop at the terminal: forty questions, kept as they are answered."""

from __future__ import annotations

import json
from pathlib import Path

import httpx
import pytest
from typer.testing import CliRunner

from services.desk.command import app

QUESTIONS = [
    {"name": "generators", "subject": "machines", "words": "How many curve generators are there?", "kind": "count", "unit": "", "least": 1,
     "most": 200, "usual": "2", "changes": "work_centres.stations"},
    {"name": "overhead", "subject": "terms", "words": "Overhead on cost", "kind": "percent", "unit": "%", "least": 0, "most": 100,
     "usual": "22", "changes": "commercial.overhead_share"},
]  # fmt: skip
DRAFT = {
    "number": 7, "name": "first day", "reason": "first day of the shop", "status": "open", "base_revision": 1, "from_revision": None,
    "tables": [{"table": "work_centres", "rows": 41, "digest": "d"}], "changed_meanwhile": [], "created_at": "2026-11-30T12:00:00Z",
    "created_by": "engineer", "created_by_key": "abc", "changed_at": "2026-11-30T12:00:00Z", "changed_by": "engineer",
    "effective_from": None, "published_revision": None, "why": None,
}  # fmt: skip


@pytest.fixture
def posted(monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest) -> list[dict[str, str]]:
    """The answers that drafts were made of."""
    drafts: list[dict[str, str]] = []
    with_currency = "currency" in request.node.name

    def server(request: httpx.Request) -> httpx.Response:
        if request.method == "GET":
            unit = request.url.params.get("currency", "USD") + "/h"
            labour = {**QUESTIONS[1], "name": "labour", "words": "An hour of labour", "kind": "money", "unit": unit}
            currency = {**QUESTIONS[1], "name": "currency", "words": "In which currency?", "kind": "currency", "unit": ""}
            questions = [currency, labour] if with_currency else QUESTIONS
            return httpx.Response(200, json={"revision": 1, "questions": questions})
        answers = json.loads(request.content)["answers"]
        if answers.get("generators") == "many":
            errors = [{"pointer": "/answers/generators", "reason": "it is not a number", "remedy": "digits"}]
            problem = {"type": "about:blank", "title": "x", "status": 422, "detail": "1 answer will not do.", "errors": errors}
            return httpx.Response(422, json=problem, headers={"Content-Type": "application/problem+json"})
        if request.url.path.endswith("/check"):
            return httpx.Response(200, json={"revision": 1, "tables": {}})
        drafts.append(answers)
        return httpx.Response(201, json=DRAFT)

    real = httpx.Client
    monkeypatch.setattr(httpx, "Client", lambda **named: real(**{**named, "transport": httpx.MockTransport(server)}))
    return drafts


def begin(folder: Path, typed: str, *options: str) -> str:
    command = ["rates", "begin", str(folder / "answers.json"), "--url", "http://shop.test", "--key", "bw_a_b", *options]
    done = CliRunner().invoke(app, command, input=typed)
    assert done.exit_code == 0, done.output
    return done.output


def test_answers_make_a_draft_and_enter_keeps_what_is_usual(tmp_path: Path, posted: list[dict[str, str]]) -> None:
    shown = begin(tmp_path, "3\n\n")
    assert posted == [{"generators": "3"}]
    assert "1. How many curve generators are there? (usual 2)" in shown
    assert "Draft 7 changes 1 tables" not in shown
    assert "Nothing is published" in shown


def test_an_answer_that_will_not_do_is_asked_again(tmp_path: Path, posted: list[dict[str, str]]) -> None:
    shown = begin(tmp_path, "many\n3\n25\n")
    assert "it is not a number: digits" in shown
    assert posted == [{"generators": "3", "overhead": "25"}]


def test_stop_keeps_what_was_answered_for_another_day(tmp_path: Path, posted: list[dict[str, str]]) -> None:
    assert "Go on with: blankwright rates begin" in begin(tmp_path, "3\nstop\n")
    assert json.loads((tmp_path / "answers.json").read_text()) == {"generators": "3"}
    shown = begin(tmp_path, "25\n")
    assert "generators are there" not in shown
    assert posted == [{"generators": "3", "overhead": "25"}]


def test_back_asks_the_question_before_again_and_a_question_mark_explains(tmp_path: Path, posted: list[dict[str, str]]) -> None:
    shown = begin(tmp_path, "?\n3\nback\n4\n\n")
    assert "It goes to work_centres.stations. From 1 to 200." in shown
    assert posted == [{"generators": "4"}]


def test_with_yes_nothing_is_asked(tmp_path: Path, posted: list[dict[str, str]]) -> None:
    (tmp_path / "answers.json").write_text('{"overhead": "30"}')
    begin(tmp_path, "", "--yes")
    assert posted == [{"overhead": "30"}]


def test_amounts_are_asked_for_in_the_currency_that_was_answered(tmp_path: Path, posted: list[dict[str, str]]) -> None:
    assert "An hour of labour [EUR/h]" in begin(tmp_path, "eur\n41\n")
    assert posted == [{"currency": "eur", "labour": "41"}]
