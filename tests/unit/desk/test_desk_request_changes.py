"""Changes of a request on the command line: paths of names, values, a patch from a file, and faults in the words that were written."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

from services.desk.command import app
from services.desk.request_changes import pointer_of, set_operation, value_of
from shared_schemas.quote import Quote

ANY_SERVER = ["--url", "http://desk.test", "--key", "k"]


@pytest.mark.parametrize(
    ("written", "op", "path", "value"),
    [
        ("elements.L2.front.form=3/2(0.5)", "add", "/elements/L2/front/form", "3/2(0.5)"),
        ("elements.L1.tolerances.centring=4/2'", "add", "/elements/L1/tolerances/centring", "4/2'"),
        ("elements.L1.tolerances.diameter_mm=[0, -0.02]", "add", "/elements/L1/tolerances/diameter_mm", [0, -0.02]),
        ("spaces.L1-L2.gap_mm=4", "add", "/spaces/L1-L2/gap_mm", 4),
        ('spaces.L1-L2={"cemented": true}', "replace", "/spaces/L1-L2", {"cemented": True}),
        ("quantities.0=7", "replace", "/quantities/0", 7),
        ("elements.L2.front.asphere.4=1e-6", "add", "/elements/L2/front/asphere/4", 1e-6),
        ("customer=Tarn=Fell", "add", "/customer", "Tarn=Fell"),
        ("/elements/L1.a/glass=N-SF5", "add", "/elements/L1.a/glass", "N-SF5"),
        ("customer=", "add", "/customer", ""),
    ],
)
def test_a_value_is_set_at_a_path_of_names(written: str, op: str, path: str, value: Any) -> None:
    assert set_operation(written) == {"op": op, "path": path, "value": value}


def test_a_value_is_json_where_it_is_json_and_text_where_it_is_not() -> None:
    assert [value_of(text) for text in ("null", "true", '"5"', "5", "NaN", "5 mm")] == [None, True, "5", 5, "NaN", "5 mm"]


@pytest.mark.parametrize("written", ["elements.L2", "=5", " =5"])
def test_what_sets_nothing_is_refused(written: str) -> None:
    with pytest.raises(typer.BadParameter, match="write a path"):
        set_operation(written)


def test_a_path_with_an_empty_step_is_refused() -> None:
    with pytest.raises(typer.BadParameter, match="empty step"):
        pointer_of("elements..form")


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, server: Callable[..., Any], reach: Any) -> Callable[..., Any]:
    monkeypatch.chdir(tmp_path)

    def ran(answers: list[Any], *arguments: str) -> Any:
        fake = server(*answers)
        reach(fake.transport)
        done = CliRunner().invoke(app, [*arguments, *ANY_SERVER])
        done.requests = fake.requests  # type: ignore[attr-defined]
        return done

    return ran


def test_a_requote_sends_the_file_first_then_what_is_set_and_taken_out(run: Any, ready_quote: Quote, tmp_path: Path) -> None:
    first = {"op": "test", "path": "/elements/L2/glass", "value": "N-BK7"}
    (tmp_path / "p.json").write_text(json.dumps([first]))
    accepted = {"number": "Q-7", "revision": 2, "status": "accepted", "links": {}}
    second = ready_quote.model_dump(mode="json") | {"revision": 2, "latest_revision": 2}
    done = run(
        [(202, accepted), (200, second)], "requote", "Q-7", "--unset", "elements.L2.front.coating", "--set", "title=u", "--patch", "p.json"
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    assert json.loads(done.requests[0].content)["patch"] == [
        first,
        {"op": "add", "path": "/title", "value": "u"},
        {"op": "remove", "path": "/elements/L2/front/coating"},
    ]


def test_a_fault_is_told_by_the_words_that_were_written(run: Any, tmp_path: Path) -> None:
    (tmp_path / "p.json").write_text('[{"op": "remove", "path": "/barrel"}]')
    errors = [
        {"pointer": "/patch/0/from", "reason": "one"}, {"pointer": "/patch/1/path", "reason": "nothing is called L9", "remedy": "write L2"},
        {"pointer": "/patch/2/path", "reason": "two"}, {"pointer": "/changes/quantities", "reason": "three"},
    ]  # fmt: skip
    problem = {"type": "/problems#invalid", "title": "No", "status": 422, "detail": "No.", "errors": errors}
    done = run(
        [(422, problem)], "requote", "Q-7", "--patch", "p.json", "--set", "elements.L9.glass=x", "--unset", "barrel", "--json"
    )
    assert done.exit_code == 2
    assert [one["pointer"] for one in json.loads(done.stdout)["errors"]] == [
        "p.json, operation 1, /from", "--set elements.L9.glass", "--unset barrel", "/changes/quantities",
    ]  # fmt: skip


@pytest.mark.parametrize("content", ["{}", "[1]", "[", '{"op": "add"}'])
def test_a_file_that_is_no_patch_is_refused_before_anything_is_sent(run: Any, tmp_path: Path, content: str) -> None:
    (tmp_path / "p.json").write_text(content)
    done = run([], "requote", "Q-7", "--patch", "p.json")
    assert done.exit_code == 2
    assert "p.json" in done.stderr
    assert done.requests == []
