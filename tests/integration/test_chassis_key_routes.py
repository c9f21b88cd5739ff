"""Keys and the audit log over HTTP, on a real database: who makes, exchanges and revokes keys, and what stands in the log of it."""

from __future__ import annotations

import asyncio
import json
import logging
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx
import pytest

from services.chassis import callers, key_routes
from services.chassis.audit import AuditLog
from services.chassis.database import Database
from services.chassis.keys import Keys
from services.chassis.resources import Resources
from services.chassis.web import make_app
from shared_schemas.audit import AuditEntry, report_on
from tests.integration.parts import settings_on

START = datetime.now(UTC).replace(microsecond=0)
"""The database tells by its own clock which keys have ended."""


class Office:
    """The API with an administrator's key, and a clock for the routes of keys."""

    def __init__(self, database: Database, tools: Resources) -> None:
        self.database, self.now = database, START
        self.keys = Keys(database)
        self.admin = self.keys.add(role="admin", label="the office", now=START)
        self.app = make_app(tools)
        self.app.dependency_overrides[key_routes.the_time] = lambda: self.now

    def ask(self, method: str, path: str, *, key: str | None = None, headers: dict[str, str] | None = None, **more: Any) -> Any:
        """One request, as the administrator unless another key is shown."""

        async def asked() -> httpx.Response:
            transport = httpx.ASGITransport(self.app, raise_app_exceptions=False)
            async with httpx.AsyncClient(transport=transport, base_url="http://office") as client:
                shown = {"Authorization": f"Bearer {key or self.admin}", **(headers or {})}
                return await client.request(method, path, headers=shown, **more)

        return asyncio.run(asked())

    def make(self, role: str = "sales", **more: Any) -> tuple[str, str]:
        """A new key: its id and the key itself."""
        made = self.ask("POST", "/v1/keys", json={"role": role, "label": "front desk", **more})
        assert made.status_code == 201, made.text
        return made.json()["info"]["id"], made.json()["key"]

    def log(self) -> list[AuditEntry]:
        """The entries about keys."""
        return [entry for entry in AuditLog(self.database).entries() if entry.action.startswith("key.")]


@pytest.fixture
def office(database: Database, tools: Resources, monkeypatch: pytest.MonkeyPatch, broker_port: int) -> Office:
    monkeypatch.setattr(callers, "KEPT_S", 0.0)
    return Office(database, replace(tools, database=database, settings=settings_on(broker_port, services=("quoting", "rates"))))


def test_a_key_is_shown_once_and_works_at_once(office: Office, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    made = office.ask("POST", "/v1/keys", json={"role": "sales", "label": "front desk"})
    key, info = made.json()["key"], made.json()["info"]
    assert made.headers["Location"] == f"/v1/keys/{info['id']}"
    assert made.headers["Cache-Control"] == "no-store"
    assert office.ask("GET", "/v1/quotes", key=key).status_code == 200
    assert office.ask("GET", made.headers["Location"]).json()["label"] == "front desk"
    everywhere = office.ask("GET", "/v1/keys").text + office.ask("GET", "/v1/audit").text + caplog.text
    assert info["id"] in everywhere
    assert key.split("_", 2)[2] not in everywhere
    entry = office.log()[-1]
    assert (entry.action, entry.subject, entry.label) == ("key.make", f"key {info['id']}", "the office")
    assert entry.by == office.admin.split("_")[1]


def test_keys_are_listed_by_the_page_newest_first(office: Office) -> None:
    ids = []
    for minute in range(5):
        office.now = START + timedelta(minutes=minute + 1)
        ids.append(office.make()[0])
    first = office.ask("GET", "/v1/keys?limit=4").json()
    assert [one["id"] for one in first["items"]] == ids[:0:-1]
    second = office.ask("GET", f"/v1/keys?limit=4&cursor={first['next']}").json()
    assert [one["id"] for one in second["items"]] == [ids[0], office.admin.split("_")[1]]
    assert second["next"] is None
    assert office.ask("GET", "/v1/keys?cursor=nobody").status_code == 404


def test_the_old_key_is_good_for_the_overlap_and_the_new_one_does_what_it_did(office: Office) -> None:
    old_id, old = office.make("engineer", scopes=["table:polishing"])
    answer = office.ask("POST", f"/v1/keys/{old_id}/rotate", json={"overlap_hours": 3})
    assert answer.status_code == 201
    new, info = answer.json()["key"], answer.json()["info"]
    assert (info["rotated_from"], info["scopes"], info["role"], info["expires_at"]) == (
        old_id,
        ["table:polishing"],
        "engineer",
        None,
    )
    for key in (old, new):
        assert office.ask("GET", "/v1/rates/tables/polishing", key=key).status_code == 200
    ends = datetime.fromisoformat(office.ask("GET", f"/v1/keys/{old_id}").json()["expires_at"])
    assert ends == START + timedelta(hours=3)
    assert [entry.action for entry in office.log()[-2:]] == ["key.make", "key.rotate"]
    office.now = START + timedelta(hours=4)
    assert office.ask("POST", f"/v1/keys/{old_id}/rotate").status_code == 409


def test_no_overlap_ends_the_old_key_at_once(office: Office) -> None:
    old_id, old = office.make()
    office.now = datetime.now(UTC)
    assert office.ask("POST", f"/v1/keys/{old_id}/rotate", json={"overlap_hours": 0}).status_code == 201
    assert office.ask("GET", "/v1/quotes", key=old).status_code == 401


def test_a_revoked_key_stops_and_revoking_it_again_changes_nothing(office: Office) -> None:
    key_id, key = office.make()
    first = office.ask("DELETE", f"/v1/keys/{key_id}")
    assert (first.status_code, first.json()["revoked_at"] is None) == (200, False)
    assert office.ask("GET", "/v1/quotes", key=key).status_code == 401
    office.now = START + timedelta(hours=1)
    assert office.ask("DELETE", f"/v1/keys/{key_id}").json() == first.json()
    assert [entry.action for entry in office.log()].count("key.revoke") == 1
    assert office.ask("DELETE", "/v1/keys/nobody").status_code == 404


def test_the_administrators_key_that_no_other_outlasts_cannot_be_revoked(office: Office) -> None:
    mine = office.admin.split("_")[1]
    assert office.ask("DELETE", f"/v1/keys/{mine}").status_code == 409
    office.make("admin", scopes=["read_only"])
    office.make("admin", expires_at=(START + timedelta(days=1)).isoformat())
    refused = office.ask("DELETE", f"/v1/keys/{mine}")
    assert (refused.status_code, refused.json()["title"]) == (409, "It is the last key of an administrator")
    _, other = office.make("admin")
    assert office.ask("DELETE", f"/v1/keys/{mine}", key=other).status_code == 200
    assert office.ask("DELETE", f"/v1/keys/{other.split('_')[1]}", key=other).status_code == 409


def test_no_key_makes_one_that_is_good_for_longer_than_itself(office: Office) -> None:
    until = START + timedelta(days=1)
    _, guest = office.make("admin", expires_at=until.isoformat())
    wanted = {"role": "sales", "label": "x"}
    for expires_at in (None, (until + timedelta(seconds=1)).isoformat()):
        refused = office.ask("POST", "/v1/keys", key=guest, json=wanted | {"expires_at": expires_at})
        assert (refused.status_code, refused.json()["title"]) == (403, "No key makes a stronger one")
    assert office.ask("POST", "/v1/keys", key=guest, json=wanted | {"expires_at": until.isoformat()}).status_code == 201
    mine = office.admin.split("_")[1]
    assert office.ask("POST", f"/v1/keys/{mine}/rotate", key=guest).status_code == 403
    later = (until + timedelta(days=1)).isoformat()
    assert office.ask("POST", f"/v1/keys/{guest.split('_')[1]}/rotate", key=guest, json={"expires_at": later}).status_code == 403


@pytest.mark.parametrize(("wanted", "pointer"), [
    ({"role": "service"}, "/role"), ({"role": "king"}, "/role"), ({"label": ""}, "/label"), ({"label": "a\nb"}, "/label"),
    ({"scopes": ["everything"]}, "/scopes/0"), ({"scopes": ["table:nothing"]}, "/scopes/0"),
    ({"scopes": ["table:polishing"]}, "/scopes/0"), ({"role": "engineer", "scopes": ["table:polishing", "read_only"]}, "/scopes/1"),
    ({"expires_at": "2026-01-01T00:00:00Z"}, "/expires_at"), ({"expires_at": "2027-01-01T00:00:00"}, "/expires_at"), ({"hash": "x"}, "/hash"),
])  # fmt: skip
def test_a_key_that_cannot_be_is_refused_with_what_is_wrong(office: Office, wanted: dict[str, Any], pointer: str) -> None:
    refused = office.ask("POST", "/v1/keys", json={"role": "sales", "label": "x", **wanted})
    assert refused.status_code == 422, refused.text
    assert [error["pointer"] for error in refused.json()["errors"]] == [pointer]
    assert len(office.keys.listed()) == 1


def test_keys_that_the_suite_shows_itself_are_left_to_the_operator(office: Office) -> None:
    key_id = office.keys.add(role="service", label="x", now=START).split("_")[1]
    assert office.ask("DELETE", f"/v1/keys/{key_id}").status_code == 409
    assert office.ask("POST", f"/v1/keys/{key_id}/rotate").status_code == 409
    assert office.keys.revoke(key_id, now=START) is True


def test_the_last_use_of_a_key_is_seen_and_a_key_that_was_not_used_has_none(office: Office) -> None:
    used, unused = office.make()[0], office.make()[0]
    Keys(office.database).note_uses({used: START, "nobody": START})
    Keys(office.database).note_uses({used: START + timedelta(seconds=30)})
    assert datetime.fromisoformat(office.ask("GET", f"/v1/keys/{used}").json()["last_used_at"]) == START
    Keys(office.database).note_uses({used: START + timedelta(seconds=90)})
    assert (
        office.ask("GET", f"/v1/keys/{used}")
        .json()["last_used_at"]
        .startswith(f"{START + timedelta(seconds=90):%Y-%m-%dT%H:%M:%S}")
    )
    assert office.ask("GET", f"/v1/keys/{unused}").json()["last_used_at"] is None


def test_a_key_for_one_table_changes_that_table_and_no_other(office: Office) -> None:
    _, key = office.make("engineer", scopes=["table:polishing"])
    for table, status in (("polishing", 428), ("glasses", 403)):
        assert office.ask("PUT", f"/v1/rates/tables/{table}", key=key, json={"rows": []}).status_code == status


def test_the_audit_log_is_read_by_the_page_and_whole_and_its_chain_holds(office: Office) -> None:
    key_id = office.make()[0]
    office.ask("DELETE", f"/v1/keys/{key_id}")
    page = office.ask("GET", "/v1/audit?limit=2").json()
    assert [one["action"] for one in page["items"]] == ["key.revoke", "key.make"]
    following = office.ask("GET", f"/v1/audit?cursor={page['next']}&limit=50").json()
    assert following["items"][-1]["action"] == "rates.publish"
    of_key = office.ask("GET", f"/v1/audit?subject=key+{key_id}&action=key.revoke&key={office.admin.split('_')[1]}").json()
    assert len(of_key["items"]) == 1
    lines = office.ask("GET", "/v1/audit/export")
    assert lines.headers["content-type"].startswith("application/jsonl")
    entries = [AuditEntry.model_validate_json(line) for line in lines.text.splitlines()]
    assert report_on(entries).fault is None
    assert entries[-1].hash == page["items"][0]["hash"]
    rest = office.ask("GET", f"/v1/audit/export?after={entries[-2].number}").text.splitlines()
    assert [json.loads(line)["number"] for line in rest] == [entries[-1].number]
    assert office.ask("GET", "/v1/audit", key=office.make("engineer")[1]).status_code == 403


def test_a_change_of_rates_over_http_names_the_key(office: Office) -> None:
    key_id, key = office.make("engineer")
    table = office.ask("GET", "/v1/rates/tables/polishing", key=key)
    rows = table.json()["rows"]
    rows[0]["source"] = "measured here"
    headers = {"If-Match": table.headers["ETag"]}
    changed = office.ask("PUT", "/v1/rates/tables/polishing", key=key, headers=headers, json={"rows": rows, "reason": "a try"})
    assert changed.status_code == 200, changed.text
    entry = list(AuditLog(office.database).entries())[-1]
    assert (entry.action, entry.by, entry.label, entry.subject) == ("rates.publish", key_id, "front desk", "revision 2")
    assert entry.details["changed"] == ["polishing"]
