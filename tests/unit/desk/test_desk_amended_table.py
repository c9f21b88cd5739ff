"""`requote --table`: the table is read and held against the quote, what changes is shown, and nothing is sent before it is confirmed."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from services.desk.command import app
from services.desk.intake.draft import read_intake
from shared_schemas.quote import Quote
from tests.unit.desk.test_desk_amended import lens, table

ANY_SERVER = ["--url", "http://desk.test", "--key", "k"]
AS_QUOTED = table(("A", 60, 5, "N-BK7"), ("B", 60, 6, "N-BK7"))
AMENDED = table(("A", 60, 5, "N-SF5"), ("B", 60, 6, "N-BK7"))
GLASS = {"op": "replace", "path": "/elements/A/glass", "value": "N-SF5"}


@pytest.fixture
def run(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, server: Callable[..., Any], reach: Any, ready_quote: Quote
) -> Callable[..., Any]:
    """`run(text, *options)` requotes a quote of the lens A, B by a table, as somebody who is not there to be asked."""
    monkeypatch.chdir(tmp_path)

    def ran(text: str, *options: str) -> Any:
        (tmp_path / "amended.csv").write_text(text)
        quote = ready_quote.model_dump(mode="json") | {"prescription": lens("A", "B").model_dump(mode="json")}
        draft = read_intake(text, name="amended.csv").model_dump(mode="json")
        accepted = {"number": "Q-7", "revision": 2, "status": "accepted", "links": {}}
        fake = server(
            (200, quote), (200, draft), (200, draft), (202, accepted), (200, quote | {"revision": 2, "latest_revision": 2})
        )
        reach(fake.transport)
        done = CliRunner().invoke(app, ["requote", "Q-7", "--table", "amended.csv", *options, *ANY_SERVER])
        done.requests = fake.requests  # type: ignore[attr-defined]
        return done

    return ran


def requoted(done: Any) -> list[dict[str, Any]]:
    """The operations of the requote that was sent."""
    return [
        one for request in done.requests if request.url.path.endswith("/requote") for one in json.loads(request.content)["patch"]
    ]


def test_what_a_table_changes_is_shown_and_sent_when_it_is_confirmed(run: Any) -> None:
    shown = run(AMENDED)
    assert (shown.exit_code, requoted(shown)) == (5, [])
    told = " ".join(shown.stderr.split())
    for words in ("elements A glass: N-BK7 → N-SF5", "coating of A front, B front", "barrel", "--yes"):
        assert words in told
    done = run(AMENDED, "--yes", "--set", "title=u")
    assert done.exit_code == 0, done.output
    assert [one for one in requoted(done) if one["path"] != "/assumptions"] == [
        GLASS,
        {"op": "add", "path": "/title", "value": "u"},
    ]


def test_a_table_that_says_nothing_otherwise_makes_no_revision(run: Any) -> None:
    done = run(AS_QUOTED)
    assert (done.exit_code, requoted(done)) == (0, [])
    assert "nothing otherwise" in done.stderr


def test_the_changes_of_a_table_can_be_kept_as_a_patch(run: Any, tmp_path: Path) -> None:
    done = run(AMENDED, "--save-patch", "p.json")
    assert (done.exit_code, requoted(done)) == (0, [])
    assert GLASS in json.loads((tmp_path / "p.json").read_text())
    as_json = run(AMENDED, "--json")
    assert as_json.exit_code == 5
    assert GLASS in json.loads(as_json.stdout)["patch"]
