"""The commands of an operator: dead letters in words and in JSON, and replaying them."""

from __future__ import annotations

import json
from typing import Any

import pytest
from typer.testing import CliRunner

from services.desk.command import app

THERE = ["--url", "http://desk.test", "--key", "k"]


def letter(key: int, **changes: Any) -> dict[str, Any]:
    return {
        "id": key, "number": f"Q-2026-{key:06d}", "attempt": 1, "stage": "glass", "traceback": "line one\nline two", "versions": "celery=5.7",
        "problem": {"type": "/problems#stage-failed", "title": "It broke", "status": 500, "detail": "No row names the saw."},
        "at": "2026-11-02T09:00:00Z", "quote_status": "failed", "replayed_at": None, "replayed_by": None, **changes,
    }  # fmt: skip


@pytest.fixture
def run(server: Any, reach: Any) -> Any:
    """`run(answers, *arguments)` is what the command says to a server that answers from a list, and the server."""

    def ran(answers: list[Any], *arguments: object) -> tuple[Any, Any]:
        fake = server(*answers)

        reach(fake.transport)
        return CliRunner().invoke(app, [*map(str, arguments), *THERE]), fake

    return ran


def accepted(number: int) -> tuple[int, dict[str, Any]]:
    return 202, {"number": f"Q-2026-{number:06d}", "status": "accepted", "links": {}}


def test_dead_letters_are_listed_with_what_broke_and_where_when_asked(run: Any) -> None:
    page = {
        "items": [letter(7), letter(3, replayed_at="2026-11-03T08:00:00Z", replayed_by="ops (k1)", quote_status="ready")],
        "next": "zz",
    }
    said, _ = run([(200, page)], "dead-letters")
    assert said.exit_code == 0, said.output
    assert "7  Q-2026-000007  attempt 1  glass" in said.output
    assert "No row names the saw." in said.output
    assert "replayed 2026-11-03 08:00 by ops (k1); the quote is ready" in said.output
    assert "--cursor zz" in said.output
    assert "line two" not in said.output
    traced, fake = run([(200, page)], "dead-letters", "--trace", "--waiting")
    assert "line two" in traced.output
    assert "replayed=false" in str(fake.requests[0].url)


def test_letters_are_replayed_by_number(run: Any) -> None:
    said, fake = run([accepted(7), accepted(8)], "replay", 7, 8)
    assert said.exit_code == 0, said.output
    assert said.output.splitlines() == ["7  Q-2026-000007 is under way again", "8  Q-2026-000008 is under way again"]
    assert [request.url.path for request in fake.requests] == ["/v1/dead-letters/7/replay", "/v1/dead-letters/8/replay"]


def test_all_means_every_failed_quote_once(run: Any) -> None:
    first = {"items": [letter(9, number="Q-2026-000004"), letter(8, quote_status="ready")], "next": "more"}
    second = {"items": [letter(5, number="Q-2026-000004"), letter(2)], "next": None}
    said, _ = run([(200, first), (200, second), accepted(4), accepted(2)], "replay", "--all", "--json")
    assert json.loads(said.output) == {
        "replayed": [{"letter": 9, "number": "Q-2026-000004"}, {"letter": 2, "number": "Q-2026-000002"}]
    }
    nothing, _ = run([(200, {"items": [], "next": None})], "replay", "--all")
    assert "nothing waits" in nothing.output


def test_a_letter_of_a_quote_that_has_not_failed_is_said(run: Any) -> None:
    problem = {"type": "/problems#not-replayable", "title": "t", "status": 409, "detail": "only a failed quote is replayed"}
    said, _ = run([(409, problem)], "replay", 7)
    assert said.exit_code == 2
    assert "only a failed quote is replayed" in said.output


def test_letters_or_all_but_not_both_and_not_neither(run: Any) -> None:
    for arguments in ((), (7, "--all")):
        said, fake = run([], "replay", *arguments)
        assert said.exit_code == 2
        assert fake.requests == []
