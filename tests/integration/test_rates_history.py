"""What changed in the rates, on a real PostgreSQL: between revisions, in a draft, in one row; and cursors of before a restore."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from services.chassis.database import Database
from services.chassis.epoch import begin_epoch
from services.rates.domain.table_csv import rows_from_csv, rows_to_csv
from shared_schemas.rates import Rates
from tests.integration.test_rates_drafts import Desk

NOW = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)


@pytest.fixture
def desk(database: Database) -> Desk:
    return Desk(database)


def test_two_revisions_differ_row_by_row_and_field_by_field(desk: Desk, rates: Rates) -> None:
    place, (one, other, third) = desk.begin(), (row.name for row in rates.hardware[:3])
    rows = desk.rows(place, "hardware")
    rows[0]["lead_days"] += 1
    rows[1]["name"] = "a plate of another name"
    del rows[2]
    rows.append({**rows[3], "name": "one more", "diameter_up_to_mm": 77.0, "lead_days": 99})
    assert desk.put_rows(place, "hardware", rows).status_code == 200, rows
    drafted = desk.get(f"{place}/diff").json()
    assert (drafted["draft"], drafted["from_revision"], drafted["to_revision"]) == (1, 1, None)
    codes = [look["code"] for look in desk.check(place)["second_looks"]]
    assert desk.publish(place, confirm=codes).status_code == 200
    found = desk.get("/v1/rates/revisions/1/diff?to=2").json()
    assert found["tables"] == drafted["tables"] == desk.get("/v1/rates/revisions/1/diff").json()["tables"]
    (table,) = found["tables"]
    assert (table["table"], [row["name"] for row in table["added"]]) == ("hardware", ["one more"])
    assert [row["name"] for row in table["dropped"]] == [third]
    assert table["renamed"] == [{"before": other, "after": "a plate of another name"}]
    before = rates.hardware[0].lead_days
    assert table["changed"] == [{"row": one, "fields": [{"field": "lead_days", "before": before, "after": before + 1}]}]
    backward = desk.get("/v1/rates/revisions/2/diff?to=1").json()["tables"][0]
    assert [row["name"] for row in backward["added"]] == [third]
    assert desk.get("/v1/rates/revisions/1/diff?to=1").json()["tables"] == []
    assert [desk.get(f"/v1/rates/revisions/{path}").status_code for path in ("9/diff", "1/diff?to=9")] == [404, 404]


def test_a_row_tells_who_changed_it_when_and_why_back_through_its_names(desk: Desk, rates: Rates) -> None:
    name = rates.hardware[0].name
    for row, change in ((name, {"lead_days": 13}), (name, {"name": "new name"}), ("new name", {"lead_days": 14})):
        place = desk.begin()
        assert desk.patch(place, "hardware", row, change).status_code == 200
        assert desk.publish(place).status_code == 200
    path = "/v1/rates/tables/hardware/rows/new%20name/history"
    found = desk.get(path).json()
    assert [(item["revision"], item["what"]) for item in found["items"]] == [
        (4, "changed"),
        (3, "renamed"),
        (2, "changed"),
        (1, "added"),
    ]
    newest = found["items"][0]
    assert newest["fields"] == [{"field": "lead_days", "before": 13.0, "after": 14.0}]
    assert (newest["by"], newest["by_key"], newest["reason"]) == (
        "the engineer",
        desk.keys["engineer"].split("_")[1],
        "the new machines",
    )
    page = desk.get(f"{path}?limit=3").json()
    assert [item["revision"] for item in desk.get(f"{path}?limit=3&cursor={page['next']}").json()["items"]] == [1]
    assert desk.get("/v1/rates/tables/hardware/rows/nothing/history").status_code == 404
    gone = desk.get(f"/v1/rates/tables/hardware/rows/{name}/history").json()["items"]
    assert gone[0]["what"] == "dropped"


def test_a_cursor_of_before_a_restore_is_gone(desk: Desk, database: Database, rates: Rates) -> None:
    for share in (0.9, 0.8):
        place = desk.begin()
        desk.patch(place, "yields", rates.yields[0].name, {"yield": share})
        desk.publish(place)
    paths = ("/v1/rates/revisions?limit=1", "/v1/rates/drafts?limit=1", "/v1/rates/tables/yields/rows/saw/history?limit=1")
    cursors = [desk.get(path).json()["next"] for path in paths]
    assert [desk.get(f"{path}&cursor={cursor}").status_code for path, cursor in zip(paths, cursors, strict=True)] == [200, 200, 200]
    assert desk.get(f"{paths[0]}&cursor=2").status_code == 200, "a bare number is a cursor of the first epoch"
    begin_epoch(database, ["rates"], now=NOW, why="a backup was restored")
    later = Desk(database)
    for path, cursor in zip(paths, (*cursors[:2], cursors[2]), strict=True):
        assert later.get(f"{path}&cursor={cursor}").json()["type"] == "/problems#gone"
    assert later.get(f"{paths[0]}&cursor=2").status_code == 410
    assert later.get(f"{paths[0]}&cursor={cursors[1]}").status_code == 422
    assert later.get(f"{paths[0]}&cursor=99999999999").status_code == 422


def test_a_table_that_came_back_from_csv_does_not_differ(rates: Rates) -> None:
    assert rows_from_csv("yields", rows_to_csv("yields", rates.yields)) == rates.yields
