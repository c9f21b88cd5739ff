"""The commands for webhooks: what they ask a server for, and what they say."""

from __future__ import annotations

import json
from typing import Any

import pytest
from typer.testing import CliRunner

from services.desk.command import app
from services.desk.commands import webhook as webhook_commands

THERE = ["--url", "http://desk.test", "--key", "k"]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, server: Any, reach: Any) -> Any:
    """`run(answers, *arguments)` is what the command says to a server that answers from a list, and the server."""
    monkeypatch.setattr(webhook_commands.time, "sleep", lambda _: None)

    def ran(answers: list[Any], *arguments: object) -> tuple[Any, Any]:
        fake = server(*answers)

        reach(fake.transport)
        return CliRunner().invoke(app, ["webhooks", *map(str, arguments), *THERE]), fake

    return ran


def info(endpoint: str = "wh_1", **more: Any) -> dict[str, Any]:
    return {
        "id": endpoint, "url": "https://erp.example/hooks", "types": [], "description": "the ERP", "created_at": "2026-11-02T09:00:00Z",
        "created_by": "k1", "paused_at": None, "paused_why": None, "secrets": 1, "failures": 0, "next_try_at": "2026-11-02T09:00:00Z",
        "waiting": 0, "dead": 0, **more,
    }  # fmt: skip


def delivery(number: int = 7, state: str = "dead", **more: Any) -> dict[str, Any]:
    return {
        "id": number, "message_id": f"e-{number}", "type": "accepted", "entry": number, "epoch": "e", "state": state, "attempts": 13,
        "created_at": "2026-11-02T09:00:00Z", "give_up_at": "2026-11-03T09:00:00Z", "last_tried_at": None, "last_status": 500,
        "last_fault": None, "settled_at": None, **more,
    }  # fmt: skip


def sent(fake: Any, at: int = 0) -> tuple[str, str, Any]:
    request = fake.requests[at]
    return request.method, request.url.path, json.loads(request.content) if request.content else None


def test_endpoints_are_listed_with_how_they_stand(run: Any) -> None:
    gone = info("wh_2", paused_at="2026-11-03T10:00:00Z", paused_why="gone", waiting=4)
    failing = info("wh_3", failures=3, next_try_at="2026-11-03T11:30:00Z", types=["accepted"])
    said, _ = run([(200, {"items": [info(), gone, failing], "next": None})], "list")
    assert said.exit_code == 0, said.output
    for words in ("wh_1  https://erp.example/hooks  the ERP", "well; 0 wait, 0 dead; every type", "it answered 410; 4 wait",
                  "failed 3 times in a row, next try 2026-11-03 11:30; 0 wait, 0 dead; accepted"):  # fmt: skip
        assert words in said.output


def test_an_endpoint_is_added_and_its_secret_shown(run: Any) -> None:
    said, fake = run(
        [(201, {"secret": "whsec_x", "info": info()})],
        "add",
        "https://erp.example/hooks",
        "--type",
        "accepted",
        "--description",
        "the ERP",
    )
    assert said.output == "wh_1\nwhsec_x\n"
    wanted = {"url": "https://erp.example/hooks", "types": ["accepted"], "description": "the ERP"}
    assert sent(fake) == ("POST", "/v1/webhooks", wanted)


def test_an_address_that_is_refused_says_why(run: Any) -> None:
    problem = {
        "type": "/problems#invalid", "title": "Nothing is sent there", "status": 422, "detail": "Nothing is sent there: 127.0.0.1 is not a public address.",
        "errors": [{"pointer": "/url", "reason": "127.0.0.1 is not a public address"}],
    }  # fmt: skip
    said, _ = run([(422, problem)], "add", "https://127.0.0.1/")
    assert (said.exit_code, "not a public address" in said.output) == (2, True)


def test_an_endpoint_is_paused_resumed_rotated_and_removed(run: Any) -> None:
    assert sent(run([(200, info())], "pause", "wh_1")[1]) == ("PATCH", "/v1/webhooks/wh_1", {"paused": True})
    assert sent(run([(200, info())], "resume", "wh_1")[1]) == ("PATCH", "/v1/webhooks/wh_1", {"paused": False})
    said, fake = run([(201, {"secret": "whsec_y", "info": info(secrets=2)})], "rotate", "wh_1", "--overlap", "3")
    assert (said.output, sent(fake)) == ("whsec_y\n", ("POST", "/v1/webhooks/wh_1/rotate", {"overlap_hours": 3}))
    said, fake = run([(200, info())], "remove", "wh_1")
    assert (said.output, sent(fake)) == ("wh_1 is removed\n", ("DELETE", "/v1/webhooks/wh_1", None))


def test_a_test_waits_for_its_answer_and_ends_with_one_where_it_failed(run: Any) -> None:
    waits = delivery(state="waiting", attempts=0, last_status=None)
    said, fake = run([(202, waits), (200, waits), (200, delivery(state="delivered", attempts=1, last_status=204))], "test", "wh_1")
    assert (said.exit_code, "delivered after 1 tries: answered 204" in said.output) == (0, True)
    assert sent(fake, 2)[:2] == ("GET", "/v1/webhooks/wh_1/deliveries/7")
    refused = delivery(state="failed", last_status=None, last_fault="refused: x.example cannot be looked up")
    said, _ = run([(202, refused)], "test", "wh_1")
    assert (said.exit_code, "refused: x.example cannot be looked up" in said.output) == (1, True)


def test_dead_deliveries_of_every_endpoint_are_listed_whole(run: Any) -> None:
    endpoints = {"items": [info("wh_1", dead=2), info("wh_2")], "next": None}
    said, fake = run(
        [(200, endpoints), (200, {"items": [delivery(9)], "next": "c"}), (200, {"items": [delivery(7)], "next": None})], "dead"
    )
    assert [line.split()[:2] for line in said.output.splitlines()] == [["wh_1", "9"], ["wh_1", "7"]]
    assert "cursor=c" in str(fake.requests[2].url)
    assert run([(200, {"items": [], "next": None})], "dead", "wh_1")[0].output == "no dead deliveries\n"


def test_dead_deliveries_are_replayed_one_since_a_day_or_all(run: Any) -> None:
    said, fake = run([(202, delivery(state="waiting"))], "replay", "wh_1", "--delivery", "7")
    assert (said.output, sent(fake)[1]) == ("1 delivery waits again\n", "/v1/webhooks/wh_1/deliveries/7/replay")
    said, fake = run([(202, {"replayed": 3})], "replay", "wh_1", "--since", "2026-11-02")
    assert (said.output, sent(fake)[2]) == ("3 deliveries wait again\n", {"since": "2026-11-02T00:00:00+00:00"})
    assert sent(run([(202, {"replayed": 0})], "replay", "wh_1")[1]) == ("POST", "/v1/webhooks/wh_1/replay", {})
    assert run([], "replay", "wh_1", "--since", "yesterday")[0].exit_code == 2
    assert run([], "replay", "wh_1", "--since", "2026-11-02", "--delivery", "7")[0].exit_code == 2
