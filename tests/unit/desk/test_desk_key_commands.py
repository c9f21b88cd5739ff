"""The commands for keys and for the audit log: what they ask a server for, and what they say of a chain that is broken."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from services.desk import machine
from services.desk.command import app
from shared_schemas.audit import BEGINNING, AuditEntry, hash_of_entry
from shared_schemas.keys import KeyInfo

THERE = ["--url", "http://desk.test", "--key", "k"]


@pytest.fixture
def run(server: Any, reach: Any) -> Any:
    """`run(answers, *arguments)` is what the command says to a server that answers from a list, and the server."""

    def ran(answers: list[Any], *arguments: object) -> tuple[Any, Any]:
        fake = server(*answers)

        reach(fake.transport)
        return CliRunner().invoke(app, [*map(str, arguments), *THERE]), fake

    return ran


def info(key_id: str = "ab12", **more: Any) -> dict[str, Any]:
    return {"id": key_id, "role": "sales", "label": "front desk", "scopes": [], "created_at": "2026-11-02T09:00:00Z", **more}


def chain(count: int) -> list[AuditEntry]:
    made, last = [], BEGINNING
    for number in range(1, count + 1):
        fields: dict[str, Any] = {
            "number": number, "at": datetime(2026, 11, 2, 9, number, tzinfo=UTC), "action": "key.make", "by": "k1", "label": "office",
            "subject": f"key {number}", "details": {"role": "sales"}, "previous": last,
        }  # fmt: skip
        last = hash_of_entry(**fields)
        made.append(AuditEntry(**fields, hash=last))
    return made


def page(entries: list[AuditEntry], following: str | None = None) -> tuple[int, dict[str, Any]]:
    return 200, {"items": [entry.model_dump(mode="json") for entry in entries], "next": following}


def test_keys_are_listed_whole_with_their_state(run: Any) -> None:
    second = info(
        "cd34", expires_at="2020-01-01T00:00:00Z", scopes=["read_only"], rotated_from="ab12", last_used_at="2019-05-01T10:11:00Z"
    )
    said, fake = run([(200, {"items": [info()], "next": "ab12"}), (200, {"items": [second], "next": None})], "keys", "list")
    assert said.exit_code == 0, said.output
    first_line, second_line = said.output.splitlines()
    assert first_line.split()[:3] == ["ab12", "sales", "good"]
    for words in ("ended 2020-01-01 00:00", "used 2019-05-01 10:11", "read_only", "in the place of ab12"):
        assert words in second_line
    assert "cursor=ab12" in str(fake.requests[1].url)


def test_a_key_is_made_with_scopes_and_an_end_and_shown(run: Any) -> None:
    made = (201, {"key": "bw_ab12_s", "info": info()})
    said, fake = run([made], "keys", "make", "sales", "--label", "front desk", "--scope", "read_only", "--until", "2027-03-31")
    assert said.output == "bw_ab12_s\n"
    asked = json.loads(fake.requests[0].content)
    assert asked == {"role": "sales", "label": "front desk", "scopes": ["read_only"], "expires_at": "2027-03-31T23:59:59+00:00"}


def test_a_key_is_exchanged_and_revoked_by_its_id_and_never_by_itself(run: Any) -> None:
    said, fake = run([(201, {"key": "bw_cd34_s", "info": info("cd34")})], "keys", "rotate", "ab12", "--overlap", "3")
    assert said.output == "bw_cd34_s\n"
    assert (fake.requests[0].url.path, json.loads(fake.requests[0].content)["overlap_hours"]) == ("/v1/keys/ab12/rotate", 3)
    assert run([(200, info())], "keys", "revoke", "ab12")[0].output == "ab12 is revoked\n"
    wrong, fake = run([], "keys", "revoke", "bw_ab12_secret")
    assert (wrong.exit_code, fake.requests) == (2, [])


def test_a_day_that_is_none_is_said_so(run: Any) -> None:
    said, _ = run([], "keys", "make", "sales", "--until", "next year")
    assert said.exit_code == 2
    assert "2027-03-31" in said.output


def test_the_database_itself_is_asked_where_one_is_named_and_no_server(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BLANKWRIGHT_DATABASE_URL", "postgresql://u:p@127.0.0.1:1/x")
    monkeypatch.delenv("BLANKWRIGHT_URL", raising=False)
    monkeypatch.setattr(machine, "list_keys", lambda: [KeyInfo(**info("ef56"))])
    assert "ef56" in CliRunner().invoke(app, ["keys", "list"]).output


def test_a_chain_that_holds_says_what_to_keep_elsewhere(run: Any) -> None:
    entries = chain(5)
    said, fake = run([page(entries[:3], "3"), page(entries[3:])], "audit", "verify")
    assert said.exit_code == 0, said.output
    assert f"keep elsewhere: 5:{entries[-1].hash}" in said.output
    assert "after=3" in str(fake.requests[1].url)
    assert run([page(entries)], "audit", "verify", "--known", f"3:{entries[2].hash}")[0].exit_code == 0


@pytest.mark.parametrize(("broken", "words"), [
    (lambda entries: [*entries[:2], *entries[3:]], "broken at entry 4"),
    (lambda entries: [entries[0], entries[1].model_copy(update={"by": "somebody"}), *entries[2:]], "broken at entry 2"),
    (lambda entries: [entries[0], entries[2], entries[1]], "broken at entry 3"),
])  # fmt: skip
def test_a_broken_chain_names_its_first_broken_entry_and_ends_with_one(run: Any, broken: Any, words: str) -> None:
    said, _ = run([page(broken(chain(5)))], "audit", "verify")
    assert said.exit_code == 1
    assert words in said.output


def test_a_log_that_was_cut_short_is_known_by_the_hash_that_was_kept(run: Any) -> None:
    entries = chain(5)
    known = f"5:{entries[4].hash}"
    assert run([page(entries[:4])], "audit", "verify")[0].exit_code == 0
    said, _ = run([page(entries[:4])], "audit", "verify", "--known", known)
    assert said.exit_code == 1
    assert "broken at entry 5: it is not there any more" in said.output
    assert run([], "audit", "verify", "--known", "5:xyz")[0].exit_code == 2


def test_the_log_is_taken_out_as_json_lines_and_verified_from_the_file(run: Any, tmp_path: Path) -> None:
    file = tmp_path / "audit.jsonl"
    assert run([page(chain(4))], "audit", "export", "--out", file)[0].exit_code == 0
    assert len(file.read_text(encoding="utf-8").splitlines()) == 4
    said, fake = run([], "audit", "verify", "--file", file)
    assert (said.exit_code, fake.requests) == (0, [])
    assert run([page(chain(4))], "audit", "export", "--out", file)[0].exit_code == 2, "a file that is there stays"
    file.write_text("{}\n", encoding="utf-8")
    said, _ = run([], "audit", "verify", "--file", file)
    assert said.exit_code == 2
    assert "line 1 is no entry" in said.output


def test_the_log_is_shown_newest_first_a_page_at_a_time(run: Any) -> None:
    said, fake = run([page(chain(2), "1")], "audit", "list", "--action", "key.make", "--by", "k1")
    assert "by office (k1)" in said.output
    assert "--cursor 1" in said.output
    assert "key=k1" in str(fake.requests[0].url)
