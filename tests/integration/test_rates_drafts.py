"""Drafts of rates on a real PostgreSQL: several tables changed together, checked, confirmed, published now, later or not at all."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import httpx
import pytest
from sqlalchemy import text

from services.chassis.database import Database
from services.rates.domain.table_csv import rows_to_csv
from services.rates.store.draft_publication import Publisher
from services.rates.store.repository import RateStore
from shared_schemas.rates import RateRevision, Rates
from tests.integration.test_rates_routes import Door

DRAFTS = "/v1/rates/drafts"


class Desk(Door):
    """An engineer who works on drafts."""

    def begin(self, **more: Any) -> str:
        made = self.ask("POST", DRAFTS, json={"name": "spring", "reason": "the new machines", **more})
        assert made.status_code == 201, made.text
        return str(made.headers["Location"])

    def rows(self, place: str, table: str) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = self.get(f"{place}/tables/{table}").json()["rows"]
        return found

    def put_rows(self, place: str, table: str, rows: list[dict[str, Any]]) -> httpx.Response:
        path = f"{place}/tables/{table}"
        return self.put(path, {"rows": rows}, self.get(path).headers["ETag"])

    def patch(self, place: str, table: str, row: str, change: Any) -> httpx.Response:
        tag = self.get(f"{place}/tables/{table}").headers["ETag"]
        return self.ask("PATCH", f"{place}/tables/{table}/rows/{row}", json=change, headers={"If-Match": tag})

    def publish(self, place: str, **body: Any) -> httpx.Response:
        return self.ask("POST", f"{place}/publish", json=body, headers={"If-Match": self.get(place).headers["ETag"]})

    def check(self, place: str) -> Any:
        return self.ask("POST", f"{place}/check").json()

    def newest(self) -> Any:
        return self.get("/v1/rates/revisions?limit=1").json()["items"][0]


@pytest.fixture
def desk(database: Database) -> Desk:
    return Desk(database)


def test_renaming_a_work_centre_with_its_load_is_one_publish(desk: Desk, rates: Rates) -> None:
    place, name = desk.begin(), rates.shop_load[0].name
    assert desk.patch(place, "work_centres", name, {"name": "saw 2"}).status_code == 200
    faults = desk.check(place)["faults"]
    assert [(fault["pointer"], name in fault["reason"]) for fault in faults] == [("/tables/work_centres/rows", True)]
    assert desk.publish(place).status_code == 422
    assert desk.patch(place, "shop_load", name, {"name": "saw 2"}).status_code == 200
    assert desk.check(place) == {
        "number": 1, "publishable": True, "faults": [], "second_looks": [], "changed_meanwhile": [],
    }  # fmt: skip
    done = desk.publish(place)
    assert (done.status_code, done.json()["status"], done.json()["published_revision"]) == (200, "published", 2)
    assert desk.newest()["changed"] == ["work_centres", "shop_load"]
    assert (desk.newest()["draft"], desk.newest()["reason"]) == (1, "the new machines")
    assert desk.newest()["created_by_key"] == desk.keys["engineer"].split("_")[1]


def test_a_part_of_the_suite_is_told_no_field_that_an_earlier_release_does_not_know(desk: Desk, rates: Rates) -> None:
    place = desk.begin()
    desk.patch(place, "yields", rates.yields[0].name, {"yield": 0.9})
    assert desk.publish(place).status_code == 200
    page = desk.ask("GET", "/v1/rates/revisions", role="service").json()["items"][0]
    assert set(page) == {"number", "digest", "created_at", "created_by", "reason", "changed"}


def test_what_a_figure_too_many_noughts_is_has_to_be_confirmed(desk: Desk, rates: Rates) -> None:
    place, row = desk.begin(), rates.work_centres[0]
    assert desk.patch(place, "work_centres", row.name, {"labour_rate_per_h": "38000000.00"}).status_code == 200
    code = f"figure-jumps:work_centres.labour_rate_per_h/{row.name}"
    assert [look["code"] for look in desk.check(place)["second_looks"]] == [code]
    refused = desk.publish(place)
    assert (refused.status_code, refused.json()["type"]) == (422, "/problems#to-confirm")
    error = refused.json()["errors"][0]
    assert (error["pointer"], error["code"]) == ("/tables/work_centres/rows/0/labour_rate_per_h", code)
    assert (error["figure"], error["limit"]) == ("38000000.00", str(row.labour_rate_per_h))
    assert desk.publish(place, confirm=["figure-jumps:x"]).status_code == 422
    assert desk.newest()["number"] == 1
    assert desk.publish(place, confirm=[code]).json()["published_revision"] == 2


def test_a_put_of_one_table_is_looked_at_again_in_the_same_way(desk: Desk) -> None:
    path = "/v1/rates/tables/stock_forms"
    read = desk.get(path)
    rows = read.json()["rows"]
    body = {"rows": rows[:50], "reason": "a list of last year"}
    refused = desk.put(path, body, read.headers["ETag"])
    codes = [error["code"] for error in refused.json()["errors"]]
    assert (refused.status_code, codes[0]) == (422, f"row-dropped:stock_forms/{len(rows) - 50} rows")
    assert any(code.startswith("glass-unpriced:glasses/") for code in codes)
    done = desk.put(path, body | {"confirm": codes}, read.headers["ETag"])
    assert (done.status_code, done.json()["revision"], len(done.json()["dropped"])) == (200, 2, len(rows) - 50)


def test_a_put_that_stands_already_is_done_whatever_tag_it_brings(desk: Desk) -> None:
    path = "/v1/rates/tables/yields"
    read = desk.get(path)
    rows = [{**row, "yield": 0.9} for row in read.json()["rows"]]
    first, again = (desk.put(path, {"rows": rows, "reason": "x"}, read.headers["ETag"]) for _ in range(2))
    assert (first.status_code, again.status_code, again.json()["revision"]) == (200, 200, 2)
    assert again.headers["ETag"] == first.headers["ETag"]
    stale = desk.put(path, {"rows": read.json()["rows"], "reason": "x"}, '"an older one"')
    assert (stale.status_code, stale.headers["ETag"]) == (412, first.headers["ETag"])


def test_a_publish_that_is_sent_again_changes_nothing(desk: Desk, rates: Rates) -> None:
    place = desk.begin()
    desk.patch(place, "yields", rates.yields[0].name, {"yield": 0.9})
    first, again = desk.publish(place), desk.publish(place)
    assert (first.json(), again.status_code, desk.newest()["number"]) == (again.json(), 200, 2)
    assert desk.ask("DELETE", place).status_code == 409
    assert desk.patch(place, "yields", rates.yields[0].name, {"yield": 0.8}).status_code == 409


def test_a_draft_without_a_change_is_published_as_the_revision_there_is(desk: Desk) -> None:
    assert desk.publish(desk.begin()).json()["published_revision"] == 1
    assert desk.newest()["number"] == 1


def test_publishing_needs_the_tag_of_the_draft_as_it_is_now(desk: Desk, rates: Rates) -> None:
    place = desk.begin()
    old = desk.get(place).headers["ETag"]
    desk.patch(place, "yields", rates.yields[0].name, {"yield": 0.9})
    assert desk.ask("POST", f"{place}/publish").status_code == 428
    stale = desk.ask("POST", f"{place}/publish", headers={"If-Match": old})
    assert (stale.status_code, stale.headers["ETag"]) == (412, desk.get(place).headers["ETag"])
    assert desk.ask("POST", f"{place}/publish", headers={"If-Match": stale.headers["ETag"]}).status_code == 200


def test_of_two_drafts_the_second_is_named_what_changed_and_is_rebased(desk: Desk, rates: Rates) -> None:
    first, second = desk.begin(), desk.begin()
    one, other = rates.yields[0].name, rates.yields[1].name
    desk.patch(first, "yields", one, {"yield": 0.9})
    desk.patch(second, "yields", other, {"yield": 0.8})
    assert desk.publish(first).status_code == 200
    refused = desk.publish(second)
    assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (409, "/tables/yields")
    assert one in refused.json()["errors"][0]["reason"]
    assert desk.get(second).json()["changed_meanwhile"] == ["yields"]
    assert desk.ask("POST", f"{second}/rebase").json()["base_revision"] == 2
    assert desk.publish(second).json()["published_revision"] == 3
    rows = {row["name"]: row["yield"] for row in desk.get("/v1/rates/tables/yields").json()["rows"]}
    assert (rows[one], rows[other]) == (0.9, 0.8)


def test_a_figure_that_both_changed_is_a_conflict_that_names_row_and_field(desk: Desk, rates: Rates) -> None:
    first, second, name = desk.begin(), desk.begin(), rates.yields[0].name
    desk.patch(first, "yields", name, {"yield": 0.9})
    desk.patch(second, "yields", name, {"yield": 0.8, "batch_loss": 0.01})
    desk.publish(first)
    refused = desk.ask("POST", f"{second}/rebase")
    error = refused.json()["errors"][0]
    assert (refused.status_code, error["pointer"], error["figure"], error["limit"]) == (
        409,
        f"/tables/yields/rows/{name}/yield",
        0.8,
        0.9,
    )
    assert desk.get(second).json()["base_revision"] == 1
    assert desk.ask("POST", f"{second}/rebase", json={"conflicts": "revision"}).status_code == 200
    row = desk.rows(second, "yields")[0]
    assert (row["yield"], row["batch_loss"]) == (0.9, 0.01)


def test_a_draft_for_later_comes_into_force_when_its_time_has_come(desk: Desk, rates: Rates, database: Database) -> None:
    place = desk.begin()
    later = datetime.now(UTC) + timedelta(days=30)
    desk.patch(place, "yields", rates.yields[0].name, {"yield": 0.9})
    waits = desk.publish(place, effective_from=later.isoformat())
    assert (waits.status_code, waits.json()["status"], desk.newest()["number"]) == (200, "scheduled", 1)
    assert desk.publish(place, effective_from=later.isoformat()).status_code == 200
    assert desk.patch(place, "yields", rates.yields[0].name, {"yield": 0.8}).status_code == 409
    publisher = Publisher(database)
    publisher.bring_into_force(later - timedelta(seconds=1))
    assert desk.newest()["number"] == 1
    publisher.bring_into_force(later)
    publisher.bring_into_force(later)
    assert (desk.newest()["number"], desk.newest()["created_by"]) == (2, "the engineer")
    assert desk.get(place).json()["status"] == "published"


def test_a_draft_for_later_is_stale_when_its_table_was_changed_meanwhile(desk: Desk, rates: Rates, database: Database) -> None:
    place = desk.begin()
    later = datetime.now(UTC) + timedelta(days=30)
    desk.patch(place, "yields", rates.yields[0].name, {"yield": 0.9})
    desk.publish(place, effective_from=later.isoformat())
    other = desk.begin()
    desk.patch(other, "yields", rates.yields[1].name, {"yield": 0.8})
    desk.publish(other)
    Publisher(database).bring_into_force(later)
    found = desk.get(place).json()
    assert (found["status"], "yields" in found["why"], desk.newest()["number"]) == ("stale", True, 2)
    assert Publisher(database).stale() == [(1, found["why"])]
    assert desk.ask("POST", f"{place}/rebase").json()["status"] == "open"
    assert desk.publish(place).json()["published_revision"] == 3


def test_rates_never_come_into_force_in_the_past(desk: Desk) -> None:
    refused = desk.publish(desk.begin(), effective_from="2020-01-01T00:00:00Z")
    assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (422, "/effective_from")


def test_an_old_revision_is_brought_back_with_all_its_tables_and_the_same_digest(
    desk: Desk, rates: Rates, database: Database
) -> None:
    digest = RateStore(database).digest(1)
    place = desk.begin()
    for table in ("yields", "assembly", "calendar", "work_centres"):
        rows = desk.rows(place, table)
        assert desk.put_rows(place, table, [{**row, "source": "measured here"} for row in rows]).status_code == 200
    assert desk.publish(place).status_code == 200
    back = desk.begin(from_revision=1)
    assert [table["table"] for table in desk.get(back).json()["tables"]] == ["work_centres", "assembly", "yields", "calendar"]
    assert desk.publish(back).json()["published_revision"] == 3
    assert RateStore(database).digest(3) == digest
    assert RateRevision.model_validate_json(RateStore(database).revision(3)).rates == rates
    assert desk.ask("POST", DRAFTS, json={"name": "x", "reason": "y", "from_revision": 9}).status_code == 404


def test_a_revision_whose_columns_are_gone_is_not_brought_back_and_says_which(desk: Desk, database: Database) -> None:
    with database.transaction() as connection:
        connection.execute(text("insert into rates.table_versions values ('d', 'yields', cast(:rows as bytea))"),
                           {"rows": b'[{"name":"saw","colour":"blue"}]'})  # fmt: skip
        connection.execute(text("insert into rates.revisions values (2, 'd', now(), 'a', 'an older suite', '{}')"))
        connection.execute(text("insert into rates.revision_tables values (2, 'yields', 'd')"))
        connection.execute(text("insert into rates.revisions values (3, 'e', now(), 'a', 'now', '{}')"))
        connection.execute(
            text("insert into rates.revision_tables select 3, table_name, digest from rates.revision_tables where number = 1")
        )
    refused = desk.ask("POST", DRAFTS, json={"name": "x", "reason": "y", "from_revision": 2})
    assert (refused.status_code, refused.json()["type"]) == (422, "/problems#rates")
    reasons = {error["pointer"]: error["reason"] for error in refused.json()["errors"]}
    assert reasons["/tables/yields/rows/0/colour"] == "this release has no such column"
    assert reasons["/tables/yields/rows/0/operation"] == "this release needs the column"


def test_every_fault_of_every_table_is_named_at_once_with_its_line(desk: Desk, rates: Rates) -> None:
    place = desk.begin()
    rows = desk.rows(place, "stock_forms")
    rows[3]["glass"] = "N-MARBLE"
    desk.put_rows(place, "stock_forms", rows)
    rows = desk.rows(place, "shop_load")
    rows[2]["name"] = "lunar lathe"
    desk.put_rows(place, "shop_load", rows)
    found = {fault["pointer"]: fault for fault in desk.check(place)["faults"]}
    assert (found["/tables/stock_forms/rows/3/glass"]["line"], found["/tables/stock_forms/rows/3/glass"]["column"]) == (5, "glass")
    assert found["/tables/shop_load/rows/2/name"]["figure"] == "lunar lathe"


def test_csv_goes_into_a_draft_and_comes_out_again(desk: Desk, rates: Rates) -> None:
    place = desk.begin()
    path = f"{place}/tables/yields"
    changed = rows_to_csv("yields", tuple(row.model_copy(update={"yield_share": 0.9}) for row in rates.yields))
    tag = desk.get(path).headers["ETag"]
    put = desk.ask("PUT", path, content=changed, headers={"If-Match": tag, "Content-Type": "text/csv"})
    assert put.status_code == 200, put.text
    assert desk.get(path, Accept="text/csv").text == changed
    stale = desk.ask(
        "PUT", path, content=rows_to_csv("yields", rates.yields), headers={"If-Match": tag, "Content-Type": "text/csv"}
    )
    assert (stale.status_code, stale.headers["ETag"]) == (412, put.headers["ETag"])


def test_a_patch_points_into_the_patch_and_offers_the_nearest_name(desk: Desk, rates: Rates) -> None:
    place, name = desk.begin(), rates.yields[0].name
    wrong = desk.patch(place, "yields", name, {"yield": 1.5, "colour": "blue"})
    assert [error["pointer"] for error in wrong.json()["errors"]] == ["/yield", "/colour"]
    assert desk.patch(place, "yields", name, {"source": None}).json()["errors"][0]["pointer"] == "/source"
    missing = desk.patch(place, "yields", "sawe", {"yield": 0.5})
    assert (missing.status_code, "saw" in missing.json()["detail"]) == (404, True)
    assert desk.patch(place, "yields", name, [1]).status_code == 422
    tag = {"If-Match": desk.get(f"{place}/tables/yields").headers["ETag"], "Content-Type": "text/plain"}
    assert desk.ask("PATCH", f"{place}/tables/yields/rows/{name}", content="x", headers=tag).status_code == 415


def test_a_draft_that_is_thrown_away_is_gone(desk: Desk) -> None:
    place = desk.begin()
    assert desk.ask("DELETE", place).status_code == 204
    assert [desk.get(place).status_code, desk.ask("DELETE", place).status_code] == [404, 404]
    assert desk.get(DRAFTS).json() == {"items": [], "next": None}
    assert desk.begin() == f"{DRAFTS}/2"


def test_only_engineers_may_work_on_drafts(desk: Desk) -> None:
    place = desk.begin()
    asked = [("POST", DRAFTS), ("GET", DRAFTS), ("GET", place), ("DELETE", place), ("GET", f"{place}/tables/yields"),
             ("PUT", f"{place}/tables/yields"), ("PATCH", f"{place}/tables/yields/rows/saw"), ("POST", f"{place}/check"),
             ("POST", f"{place}/publish"), ("POST", f"{place}/rebase")]  # fmt: skip
    for method, path in asked:
        for role in ("sales", "erp", "service"):
            assert desk.ask(method, path, role=role).status_code == 403, (method, path, role)


def test_a_draft_is_proposed_with_all_its_tables(desk: Desk, rates: Rates) -> None:
    place = desk.begin()
    desk.patch(place, "yields", rates.yields[0].name, {"yield": 0.9})
    desk.patch(place, "assembly", rates.assembly[0].name, {"minutes": 31})
    made = desk.ask("POST", "/v1/rates/proposals", role="service", params={"draft": 1, "by": "an engineer"})
    assert (made.status_code, made.json()["tables"], made.json()["created_by"]) == (201, ["assembly", "yields"], "an engineer")
    proposal = desk.get("/v1/rates/proposals/1").json()
    done = desk.publish(place)
    published = desk.get(f"/v1/rates/revisions/{done.json()['published_revision']}").json()
    assert (proposal["rates"], proposal["digest"]) == (published["rates"], published["digest"])
    assert desk.ask("POST", "/v1/rates/proposals", params={"draft": 9}).status_code == 404
    assert desk.ask("POST", "/v1/rates/proposals", params={"draft": 1, "table": "yields"}).status_code == 422


def test_a_shop_s_first_day_is_a_draft_that_is_published_as_any_other(desk: Desk, rates: Rates) -> None:
    asked = desk.get("/v1/rates/first-day").json()
    assert len(asked["questions"]) == 40
    answers = {"labour_polishing": "48.50", "volume_line": "no", "pass_polishing": "95"}
    changed = desk.ask("POST", "/v1/rates/first-day/check", json={"answers": answers}).json()["tables"]
    assert set(changed) == {"work_centres", "shop_load", "yields"}
    made = desk.ask("POST", "/v1/rates/first-day", json={"answers": answers})
    assert made.status_code == 201
    assert {table["table"] for table in made.json()["tables"]} == set(changed)
    place = made.headers["Location"]
    check = desk.check(place)
    assert check["faults"] == []
    published = desk.publish(place, confirm=[look["code"] for look in check["second_looks"]])
    assert published.status_code == 200, published.text
    paid = {row["name"]: row["labour_rate_per_h"] for row in desk.get("/v1/rates/tables/work_centres").json()["rows"]}
    assert paid["polishing spindles"] == "48.50"


def test_answers_that_will_not_do_make_no_draft(desk: Desk, rates: Rates) -> None:
    refused = desk.ask("POST", "/v1/rates/first-day", json={"answers": {"generators": "many", "nobody": "x"}})
    assert refused.status_code == 422
    assert {error["pointer"] for error in refused.json()["errors"]} == {"/answers/generators", "/answers/nobody"}
    assert desk.get(DRAFTS).json()["items"] == []


def test_rows_are_changed_in_a_draft_as_it_is_made(desk: Desk, rates: Rates) -> None:
    one, other = rates.work_centres[0], rates.yields[0]
    learned = {
        "setup_min": round(one.setup_min * 1.2, 4),
        "origin": "measured",
        "source": "measured here: 12 jobs",
        "as_of": "2026-11-01",
    }
    rows = [
        {"table": "work_centres", "row": one.name, "patch": learned},
        {"table": "yields", "row": other.name, "patch": {"yield": 0.5}},
        {"table": "work_centres", "row": one.name, "patch": {"document": "actuals of 12 orders"}},
    ]
    place = desk.begin(rows=rows, rows_beside=1)
    assert [table["table"] for table in desk.get(place).json()["tables"]] == ["work_centres", "yields"]
    changed = desk.rows(place, "work_centres")[0]
    assert {name: changed[name] for name in learned} == learned
    assert changed["document"] == "actuals of 12 orders"
    assert desk.rows(place, "work_centres")[1:] == desk.rows("/v1/rates", "work_centres")[1:]
    assert desk.publish(place).status_code == 200


def test_a_learned_row_that_goes_up_threefold_needs_its_second_look_like_any_other(desk: Desk, rates: Rates) -> None:
    row = next(one for one in rates.work_centres if one.setup_min)
    place = desk.begin(rows=[{"table": "work_centres", "row": row.name, "patch": {"setup_min": row.setup_min * 4}}])
    looks = desk.check(place)["second_looks"]
    assert [one["kind"] for one in looks] == ["figure-jumps"]
    assert desk.publish(place).json()["type"] == "/problems#to-confirm"
    assert desk.publish(place, confirm=[looks[0]["code"]]).status_code == 200


def test_rows_that_cannot_be_changed_are_named_and_no_draft_is_made(desk: Desk, rates: Rates) -> None:
    name = rates.work_centres[0].name

    def refused(*rows: dict[str, Any], **more: Any) -> httpx.Response:
        return desk.ask("POST", DRAFTS, json={"name": "spring", "reason": "measured", "rows": list(rows), **more})

    good = {"table": "work_centres", "row": name, "patch": {"setup_min": 3.0}}
    wrong = refused(good, {"table": "work_centres", "row": name, "patch": {"setup_min": -1.0}})
    assert (wrong.status_code, [one["pointer"] for one in wrong.json()["errors"]]) == (422, ["/rows/1/patch/setup_min"])
    assert refused(good, {"table": "work_centres", "row": "a lathe", "patch": {}}).status_code == 404
    assert refused({"table": "machines", "row": name, "patch": {}}).status_code == 404
    assert refused(good, rows_beside=9).status_code == 404
    assert desk.get(DRAFTS).json()["items"] == []


def test_rows_worked_out_beside_a_table_that_is_another_by_now_are_refused(desk: Desk, rates: Rates) -> None:
    row, place = rates.work_centres[0], desk.begin()
    assert desk.patch(place, "work_centres", row.name, {"setup_min": row.setup_min + 1}).status_code == 200
    assert desk.publish(place).status_code == 200
    asked = {
        "name": "spring",
        "reason": "measured",
        "rows": [{"table": "work_centres", "row": row.name, "patch": {"setup_min": 3.0}}],
    }
    stale = desk.ask("POST", DRAFTS, json={**asked, "rows_beside": 1})
    assert (stale.status_code, stale.json()["type"]) == (412, "/problems#stale")
    assert desk.ask("POST", DRAFTS, json={**asked, "rows_beside": 2}).status_code == 201
