"""`blankwright rates …` at the terminal, against the real routes of rates on tables held in memory."""

from __future__ import annotations

import json
import stat
from pathlib import Path
from typing import Any

import httpx
import pytest
from typer.testing import CliRunner, Result

from services.desk.command import app

DRAFT = {
    "number": 7, "name": "edit yields", "reason": "a worse quarter", "status": "open", "base_revision": 1, "from_revision": None,
    "tables": [{"table": "yields", "rows": 1, "digest": "d"}], "changed_meanwhile": [], "created_at": "2026-11-30T12:00:00Z",
    "created_by": "engineer", "created_by_key": "abc", "changed_at": "2026-11-30T12:00:00Z", "changed_by": "engineer",
    "effective_from": None, "published_revision": None, "why": None,
}  # fmt: skip
CSV = "name,source,as_of,operation,yield\nsaw,12 jobs,2026-11-02,saw,0.9\n"
TABLE = {"table": "yields", "revision": 1, "rows": [{"name": "saw", "yield": 0.9}]}
DIFFERENCE = {
    "from_revision": 1, "to_revision": None, "draft": 7,
    "tables": [{"table": "yields", "added": [], "dropped": [], "renamed": [], "reordered": False,
                "changed": [{"row": "saw", "fields": [{"field": "yield", "before": 0.9, "after": 0.8}]}]}],
}  # fmt: skip
LOOK = {
    "code": "figure-jumps:yields.yield/saw", "kind": "figure-jumps", "pointer": "/tables/yields/rows/0/yield", "table": "yields",
    "field": "yield", "rows": ["saw"], "count": 1, "before": 0.9, "after": 0.1, "says": "yields: yield of saw goes from 0.9 to 0.1",
}  # fmt: skip


class Server:
    """Says of a draft what it is told to say, and keeps what it was sent."""

    def __init__(self) -> None:
        self.asked: list[tuple[str, str, bytes]] = []
        self.looks: list[dict[str, Any]] = []
        self.faults: list[dict[str, Any]] = []
        self.refusals = 0

    def __call__(self, request: httpx.Request) -> httpx.Response:
        method, path = request.method, request.url.path.removeprefix("/v1/rates")
        self.asked.append((method, path, request.content))
        if method == "PUT" and self.refusals:
            self.refusals -= 1
            errors = [{"pointer": "/rows/0/yield", "reason": "too high", "line": 2, "column": "yield"}]
            problem = {"type": "about:blank", "title": "x", "status": 422, "detail": "1 cell cannot be read.", "errors": errors}
            return httpx.Response(422, json=problem, headers={"Content-Type": "application/problem+json"})
        answer = self._answer(method, path, request)
        headers = {"ETag": '"t"', **answer.pop("headers", {})}
        return httpx.Response(204 if method == "DELETE" else 200, headers=headers, **answer)

    def _answer(self, method: str, path: str, request: httpx.Request) -> dict[str, Any]:
        found = {"faults": self.faults, "second_looks": self.looks, "changed_meanwhile": []}
        answers: dict[str, dict[str, Any]] = {
            "diff": {"json": DIFFERENCE},
            "check": {"json": {"number": 7, "publishable": not self.faults, **found}},
            "publish": {"json": DRAFT | {"status": "published", "published_revision": 2}},
            "impact": {"json": {"number": "I-1", "status": "done", "quotes": 0, "links": {}}},
            "archive": {"content": b"PK", "headers": {"Content-Type": "application/zip", "X-Rate-Revision": "1"}},
        }
        if method == "DELETE":
            return {}
        if "/tables/" in path:
            is_csv = request.headers["Accept"].startswith("text/csv")
            return {"text": CSV, "headers": {"Content-Type": "text/csv"}} if is_csv else {"json": TABLE}
        return answers.get(path.rpartition("/")[2], {"json": DRAFT})

    def sent(self, method: str, path: str) -> list[bytes]:
        return [content for verb, place, content in self.asked if (verb, place) == (method, path)]


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Server:
    made, real = Server(), httpx.Client
    monkeypatch.setattr(httpx, "Client", lambda **named: real(**{**named, "transport": httpx.MockTransport(made)}))
    return made


@pytest.fixture
def editor(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An editor that lowers the yield of the table that it is given."""
    script = tmp_path / "editor"
    script.write_text('#!/bin/sh\nsed -i \'s/0\\.9/0.8/\' "$2"\necho x >> "$1"\n', encoding="utf-8")
    script.chmod(script.stat().st_mode | stat.S_IXUSR)
    monkeypatch.delenv("VISUAL", raising=False)
    monkeypatch.setenv("EDITOR", f"{script} {tmp_path / 'opened'}")
    return tmp_path / "opened"


def rates(*arguments: str, typed: str = "") -> Result:
    return CliRunner().invoke(app, ["rates", *arguments, "--url", "http://shop.test", "--key", "bw_a_b"], input=typed)


def test_a_table_is_edited_checked_shown_and_published_when_asked(server: Server, editor: Path) -> None:
    done = rates("edit", "yields", "--reason", "a worse quarter", typed="y\n")
    assert done.exit_code == 0, done.output
    assert server.sent("PUT", "/drafts/7/tables/yields") == [CSV.replace("0.9", "0.8").encode()]
    assert json.loads(server.sent("POST", "/drafts/7/publish")[0]) == {"confirm": []}
    assert json.loads(server.sent("POST", "/drafts")[0])["reason"] == "a worse quarter"
    assert "draft 7 is revision 2" in done.output
    assert "saw" in done.output
    assert "no quote is open" in done.output


def test_a_no_keeps_the_draft_and_says_how_to_go_on(server: Server, editor: Path) -> None:
    done = rates("edit", "yields", typed="n\n")
    assert (done.exit_code, server.sent("POST", "/drafts/7/publish")) == (0, [])
    assert "rates publish 7" in done.output


def test_a_table_that_was_only_looked_at_leaves_no_draft(server: Server, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("EDITOR", "true")
    monkeypatch.delenv("VISUAL", raising=False)
    assert rates("edit", "yields").exit_code == 0
    assert len(server.sent("DELETE", "/drafts/7")) == 1


def test_a_wrong_cell_is_told_by_its_line_and_the_table_opened_again(server: Server, editor: Path) -> None:
    server.refusals = 1
    done = rates("edit", "yields", typed="y\ny\n")
    assert done.exit_code == 0, done.output
    assert "too high" in done.output
    assert editor.read_text(encoding="utf-8") == "x\nx\n"


def test_an_editor_that_is_not_there_is_named(server: Server, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("EDITOR", "no-such-editor-anywhere")
    monkeypatch.delenv("VISUAL", raising=False)
    done = rates("edit", "yields")
    assert (done.exit_code, "no-such-editor-anywhere" in done.output) == (2, True)


def test_yes_publishes_without_asking_but_not_what_needs_a_second_look(server: Server) -> None:
    server.looks = [LOOK]
    refused = rates("publish", "7", "--yes")
    assert (refused.exit_code, server.sent("POST", "/drafts/7/publish")) == (2, [])
    assert LOOK["code"] in refused.output
    assert rates("publish", "7", "--yes", "--confirm", LOOK["code"]).exit_code == 0
    assert json.loads(server.sent("POST", "/drafts/7/publish")[0]) == {"confirm": [LOOK["code"]]}


def test_a_draft_with_faults_is_not_offered(server: Server) -> None:
    server.faults = [{"pointer": "/tables/yields/rows/0/operation", "reason": "nothing does that", "line": 2}]
    done = rates("publish", "7", "--yes")
    assert (done.exit_code, "(line 2): nothing does that" in done.output) == (2, True)
    assert rates("check", "--draft", "7").exit_code == 2
    assert server.sent("DELETE", "/drafts/7") == []


def test_a_file_is_checked_in_a_draft_that_is_thrown_away(server: Server, tmp_path: Path) -> None:
    file = tmp_path / "yields.csv"
    file.write_text(CSV, encoding="utf-8")
    assert rates("check", str(file)).exit_code == 0
    assert (len(server.sent("PUT", "/drafts/7/tables/yields")), len(server.sent("DELETE", "/drafts/7"))) == (1, 1)


def test_all_tables_go_out_to_a_file_and_in_again(server: Server, tmp_path: Path) -> None:
    file = tmp_path / "rates.zip"
    assert rates("export", str(file)).exit_code == 0
    assert file.read_bytes() == b"PK"
    assert rates("import", str(file), "--yes").exit_code == 0
    assert server.sent("POST", "/drafts/from-archive") == [b"PK"]
    assert rates("export", str(tmp_path / "rates.txt")).exit_code == 2


def test_an_old_revision_is_restored_as_a_draft(server: Server) -> None:
    assert rates("restore", "1", "--yes").exit_code == 0
    assert json.loads(server.sent("POST", "/drafts")[0])["from_revision"] == 1


def test_a_difference_is_told_field_by_field(server: Server) -> None:
    shown = rates("diff", "1", "2").output
    assert [word for word in ("yields", "saw", "yield", "0.9", "0.8") if word not in shown] == []
    assert rates("diff").exit_code == 2
