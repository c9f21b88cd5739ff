"""What an engineer meets who mistypes a method, or adds a step of the shop's own, over HTTP on a real PostgreSQL."""

from __future__ import annotations

import json

import pytest

from services.chassis.database import Database
from tests.integration.test_rates_routes import Door

CENTRES = "/v1/rates/tables/work_centres"
OPERATIONS = "/v1/rates/tables/operations"
HEADING = "name,source,as_of,on,after,work_centre,minutes_each\n"


@pytest.fixture
def door(database: Database) -> Door:
    return Door(database)


def test_a_method_with_a_letter_wrong_is_a_422_with_the_nearest_and_nothing_is_changed(door: Door) -> None:
    rows = door.get(CENTRES).json()["rows"]
    number = next(number for number, row in enumerate(rows) if row["method"] == "single")
    rows[number]["method"] = "singel"
    refused = door.put_raw(CENTRES, json.dumps({"rows": rows, "reason": "a slip"}))
    assert refused.status_code == 422
    (error,) = refused.json()["errors"]
    assert error["pointer"] == f"/rows/{number}/method"
    assert error["remedy"].startswith("single, if that is meant")
    assert door.get(CENTRES).json()["revision"] == 1


def test_a_step_of_the_shops_own_is_added_by_a_row_and_taken_away_by_a_heading_alone(door: Door) -> None:
    delivered = [row["name"] for row in door.get(OPERATIONS).json()["rows"]]
    assert delivered == ["measuring report", "certificate of conformity", "material certificate", "special packing"]
    every_column = door.get(OPERATIONS, accept="text/csv").text.splitlines()[0] + "\n"
    cleared = door.put_raw(f"{OPERATIONS}?reason=x&confirm=row-dropped:operations/4%20rows", every_column, "text/csv")
    assert cleared.status_code == 200, cleared.text
    wrong = door.put_raw(
        OPERATIONS + "?reason=x", HEADING + "leak test,the bench,2026-11-02,assembly,final_test,tset-bench,6\n", "text/csv"
    )
    assert (wrong.status_code, wrong.json()["errors"][0]["pointer"]) == (422, "/rows/0/work_centre")
    assert wrong.json()["errors"][0]["remedy"].startswith("test-bench, if that is meant")
    done = door.put_raw(
        OPERATIONS + "?reason=x", HEADING + "leak test,the bench,2026-11-02,assembly,final_test,test-bench,6\n", "text/csv"
    )
    assert (done.status_code, done.json()["revision"]) == (200, 3)
    assert [row["name"] for row in done.json()["rows"]] == ["leak test"]
    asked = door.put_raw(OPERATIONS + "?reason=x", HEADING, "text/csv")
    assert asked.json()["errors"][0]["code"] == "row-dropped:operations/leak test"
    emptied = door.put_raw(OPERATIONS + "?reason=x&confirm=row-dropped:operations/leak%20test", HEADING, "text/csv")
    assert emptied.status_code == 200, emptied.text
    assert emptied.json()["rows"] == []
