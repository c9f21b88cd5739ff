"""The command line: exit codes, JSON, progress, and what it starts and stops."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
import pytest
from typer.testing import CliRunner

from services.desk import machine
from services.desk.command import app
from services.desk.machine import Box
from shared_schemas.check import CheckReport
from shared_schemas.quote import Quote

PAPER = {
    "version": 1, "letterhead": {"name": "Norrsk\u00e4r Optik"}, "changed_at": "2026-11-30T09:00:00Z", "changed_by": "admin",
}  # fmt: skip
ACCEPTED = {"number": "BW-7", "status": "accepted", "links": {}}
ANY_SERVER = ["--url", "http://desk.test", "--key", "k"]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Callable[..., Any]:
    """Run the command in an empty folder."""
    monkeypatch.chdir(tmp_path)
    for name in ("BLANKWRIGHT_URL", "BLANKWRIGHT_KEY", "BLANKWRIGHT_FOLDER", "BLANKWRIGHT_DATABASE_URL"):
        monkeypatch.delenv(name, raising=False)
    return lambda *arguments: CliRunner().invoke(app, [str(one) for one in arguments])


@pytest.fixture
def serve(server: Callable[..., Any], reach: Any) -> Callable[..., Any]:
    """Let every client meet a server that answers from a list."""

    def served(*answers: Any) -> Any:
        fake = server(*answers)

        reach(fake.transport)
        return fake

    return served


class Boxes:
    """One box that only exists on paper."""

    def __init__(self, *, runs: bool) -> None:
        self.runs = runs
        self.done: list[str] = []
        self.box = Box("http://box.test", {"sales": "k", "erp": "k2", "admin": "k3"})

    def start_box(self, folder: Path, *, port: int | None, say: Callable[[str], None]) -> Box:
        self.done.append(f"start {port}")
        self.runs = True
        return self.box

    def stop_box(self, folder: Path) -> bool:
        self.done.append("stop")
        was, self.runs = self.runs, False
        return was

    def running_box(self, folder: Path) -> Box | None:
        return self.box if self.runs else None


@pytest.fixture
def boxes(monkeypatch: pytest.MonkeyPatch) -> Callable[..., Boxes]:
    def made(*, runs: bool) -> Boxes:
        paper = Boxes(runs=runs)
        for name in ("start_box", "stop_box", "running_box"):
            monkeypatch.setattr(machine, name, getattr(paper, name))
        return paper

    return made


def as_json(quote: Quote) -> dict[str, Any]:
    return quote.model_dump(mode="json")


def test_a_ready_quote_is_printed_with_its_stages(run: Any, serve: Any, ready_quote: Quote, demo_path: Path) -> None:
    serve((202, ACCEPTED), (200, as_json(ready_quote)))
    done = run("quote", demo_path, *ANY_SERVER)
    assert done.exit_code == 0, done.output
    assert "Price and date" in done.stdout
    stages = [line.split("s  ")[1] for line in done.stderr.splitlines()]
    assert stages == [
        "accepted", "checking the prescription", "planning the blanks", "planning the operations", "assembling the price", "ready",
    ]  # fmt: skip


def test_in_json_the_output_is_the_quote_and_nothing_else(run: Any, serve: Any, ready_quote: Quote, demo_path: Path) -> None:
    serve((202, ACCEPTED), (200, as_json(ready_quote)))
    done = run("quote", demo_path, *ANY_SERVER, "--json")
    assert Quote.model_validate_json(done.stdout) == ready_quote
    assert done.stderr == ""


@pytest.mark.parametrize(("status", "code"), [("refused", 3), ("failed", 4)])
def test_no_price_has_an_exit_code_of_its_own(
    status: str, code: int, run: Any, serve: Any, refused_quote: Quote, demo_path: Path
) -> None:  # fmt: skip
    serve((202, ACCEPTED), (200, as_json(refused_quote) | {"status": status}))
    done = run("quote", demo_path, *ANY_SERVER)
    assert done.exit_code == code
    assert "the edge is a knife" in done.stdout
    assert done.stderr.splitlines()[-1].endswith(status)


def test_nobody_there_is_exit_code_1_with_what_would_do(run: Any, serve: Any, demo_path: Path) -> None:
    serve(httpx.ConnectError("connection refused"))
    done = run("quote", demo_path, *ANY_SERVER)
    assert done.exit_code == 1
    assert "No answer from http://desk.test: connection refused" in done.stderr


def test_without_a_server_or_a_box_the_command_says_how_to_start_one(run: Any, demo_path: Path) -> None:
    done = run("quote", demo_path)
    assert done.exit_code == 1
    assert "blankwright up" in done.stderr


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("a.json", "{", "it is not JSON"),
        ("a.json", '{"title": NaN}', "NaN is not a number in JSON"),
        ("a.json", "[]", "one JSON object"),
        ("a.json", "[" * 5000, "it is not JSON"),
        ("a.json", '{"title": "t", "elements": []}', "/prescription/elements"),
        ("a.json", '{"prescription": {}, "quantities": [0]}', "/quantities/0"),
        ("a.json", " " * (1024 * 1024 + 1), "larger than 1024 KiB"),
    ],
)
def test_a_file_that_says_nothing_is_exit_code_2_at_its_place(name: str, text: str, words: str, run: Any, tmp_path: Path) -> None:
    (tmp_path / name).write_text(text)
    done = run("quote", name, *ANY_SERVER)
    assert done.exit_code == 2, done.output
    assert words in done.stderr


def test_a_file_that_is_not_there_or_no_text_is_exit_code_2(run: Any, tmp_path: Path) -> None:
    (tmp_path / "b.json").write_bytes(b"radius\xff")
    assert "no such file" in run("quote", "gone.json", *ANY_SERVER).stderr
    assert "byte 6 is not UTF-8" in run("quote", "b.json", *ANY_SERVER).stderr
    assert run("quote", "gone.json", *ANY_SERVER).exit_code == 2


def test_an_error_in_json_names_its_places(run: Any, tmp_path: Path) -> None:
    (tmp_path / "a.json").write_text('{"prescription": {}, "quantities": [0]}')
    said = json.loads(run("quote", "a.json", *ANY_SERVER, "--json").stdout)
    assert said["error"] == "RequestUnreadable"
    assert "/quantities/0" in [error["pointer"] for error in said["errors"]]


def test_quantities_that_are_none_are_a_usage_error(run: Any, demo_path: Path) -> None:
    assert run("quote", demo_path, *ANY_SERVER, "--quantities", "5;25").exit_code == 2


@pytest.mark.parametrize(("makeable", "code"), [("yes", 0), ("with_care", 0), ("no", 3)])
def test_a_check_says_whether_the_lens_can_be_made(
    makeable: str, code: int, run: Any, serve: Any, report: CheckReport, demo_path: Path
) -> None:  # fmt: skip
    fake = serve((200, report.model_dump(mode="json") | {"makeable": makeable}))
    done = run("check", demo_path, *ANY_SERVER)
    assert done.exit_code == code
    assert json.loads(fake.requests[0].content)["title"].startswith("Receiving objective")


def test_the_demo_starts_a_box_and_stops_it(run: Any, serve: Any, boxes: Any, ready_quote: Quote) -> None:
    fake = serve((200, PAPER), (202, ACCEPTED), (200, as_json(ready_quote)))
    paper = boxes(runs=False)
    done = run("demo")
    assert done.exit_code == 0, done.output
    assert paper.done == ["start None", "stop"]
    assert fake.requests[0].url.path == "/v1/letterhead", "a new box is asked whether it has a seller"


def test_the_demo_leaves_a_box_alone_that_ran_before(run: Any, serve: Any, boxes: Any, ready_quote: Quote) -> None:
    serve((202, ACCEPTED), (200, as_json(ready_quote)))
    paper = boxes(runs=True)
    assert run("demo", "--json").exit_code == 0
    assert paper.done == []


def test_the_demo_stops_its_box_when_the_quote_breaks(run: Any, serve: Any, boxes: Any) -> None:
    serve(httpx.ConnectError("gone"))
    paper = boxes(runs=False)
    assert run("demo").exit_code == 1
    assert paper.done[-1] == "stop"


def test_up_status_and_down_answer_in_words_and_in_json(run: Any, serve: Any, boxes: Any) -> None:
    serve((200, {"ready": True}))
    paper = boxes(runs=False)
    assert run("status").exit_code == 1
    assert "ready at http://box.test" in run("up", "--port", "9000").stdout
    assert paper.done == ["start 9000"]
    assert json.loads(run("status", "--json").stdout) == {"running": True, "ready": True, "url": "http://box.test"}
    assert run("down").stdout == "stopped\n"
    assert json.loads(run("down", "--json").stdout) == {"stopped": False}


def test_migrations_need_a_database_and_say_so(run: Any) -> None:
    done = run("migrate")
    assert done.exit_code == 2
    assert "BLANKWRIGHT_DATABASE_URL" in done.stderr


def test_a_key_of_no_role_is_a_usage_error(run: Any) -> None:
    assert "there is no role boss" in run("keys", "add", "boss").stderr


def test_the_doctor_answers_each_question(run: Any, boxes: Any) -> None:
    boxes(runs=False)
    answers = json.loads(run("doctor", "--json").stdout)
    assert [one["question"] for one in answers] == ["Python", "the one box's servers", "room on the disk", "a server"]


def test_the_desk_starts_light() -> None:
    code = (
        "import sys; import services.desk.command, services.desk.server, services.desk.texts.quote, services.desk.request_file;"
        "services.desk.server.client_of('http://desk.test', 'k').close();"
        "heavy = {'numpy', 'scipy', 'celery', 'kombu', 'sqlalchemy', 'fastapi', 'httpx._main'};"
        "print(sorted(name for name in heavy if sys.modules.get(name)))"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "[]\n"


def test_a_wrong_option_is_named_and_not_the_file(run: Any, demo_path: Path) -> None:
    done = run("quote", demo_path, *ANY_SERVER, "--currency", "usd", "--confidence", "90")
    assert done.exit_code == 2
    assert "--currency: it is no code of a currency. What would do: three capital letters, as USD." in done.stderr
    assert "90 % is written 0.9" in done.stderr
    assert demo_path.name not in done.stderr


def test_the_doctor_names_what_a_release_needs_of_the_rates(run: Any, serve: Any) -> None:
    parts = {"postgresql": "yes", "rates": "no: yields has no row for bevel", "rates_added": "figures of a release: yields: wax"}
    serve((200, {"ready": True, "degraded": True, "parts": parts}), (200, {"ready": True, "parts": parts}), (200, {"items": []}))
    done = run("doctor", *ANY_SERVER)
    assert done.exit_code == 1
    assert "NOT   the rates: yields has no row for bevel; run: blankwright migrate" in done.stdout
    assert "NOT   the rates: figures of a release: yields: wax; look at these rows" in done.stdout
    assert "postgresql" not in done.stdout
