"""The routes of rates on a real PostgreSQL: who may, what is refused and how, and that revisions follow one another."""

from __future__ import annotations

import asyncio
import json
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import httpx
import pytest

from services.chassis.database import Database
from services.chassis.keys import Keys
from services.chassis.rate_source import HttpRateSource, RevisionNotFound
from services.chassis.resources import build_resources
from services.chassis.settings import Settings
from services.chassis.web import make_app
from services.rates.domain.table_csv import rows_to_csv
from shared_schemas.rates import TABLES, RateRevision, Rates

NOW = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)
YIELDS = "/v1/rates/tables/yields"


class Door:
    """The application with rates alone in it, and a key for each role."""

    def __init__(self, database: Database) -> None:
        chosen = Settings(
            database_url="postgresql://u:p@127.0.0.1:1/x",
            redis_url="redis://127.0.0.1:1/0",
            rates_url="http://127.0.0.1:1",
            service_key="bw_0_0",
            services=("rates",),
        )
        self._app = make_app(replace(build_resources(chosen), database=database))
        keys = Keys(database)
        self.keys = {
            role: keys.add(role=role, label=f"the {role}", now=NOW) for role in ("sales", "erp", "engineer", "admin", "service")
        }

    def bare(self, method: str, path: str, **more: Any) -> httpx.Response:
        """One request as it stands, without a key of ours."""

        async def asked() -> httpx.Response:
            transport = httpx.ASGITransport(self._app, raise_app_exceptions=False)
            async with httpx.AsyncClient(transport=transport, base_url="http://rates") as client:
                return await client.request(method, path, **more)

        return asyncio.run(asked())

    def ask(
        self, method: str, path: str, *, role: str = "engineer", headers: dict[str, str] | None = None, **more: Any
    ) -> httpx.Response:
        return self.bare(method, path, headers={"Authorization": f"Bearer {self.keys[role]}", **(headers or {})}, **more)

    def get(self, path: str, **headers: str) -> httpx.Response:
        return self.ask("GET", path, headers={name.replace("_", "-"): value for name, value in headers.items()})

    def put(self, path: str, body: Any, etag: str | None) -> httpx.Response:
        return self.ask("PUT", path, json=body, headers={} if etag is None else {"If-Match": etag})

    def put_raw(self, path: str, body: str | bytes, media_type: str = "application/json") -> httpx.Response:
        etag = self.get(path.split("?", maxsplit=1)[0]).headers["ETag"]
        return self.ask("PUT", path, content=body, headers={"If-Match": etag, "Content-Type": media_type})


@pytest.fixture
def door(database: Database) -> Door:
    return Door(database)


def lower(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [{**row, "yield": round(row["yield"] - 0.01, 6)} for row in rows]


def test_a_table_is_read_changed_with_its_etag_and_the_old_revision_stays(door: Door, rates: Rates) -> None:
    read = door.get(YIELDS)
    assert read.status_code == 200
    assert read.json()["revision"] == 1
    assert read.headers["Cache-Control"] == "private, no-cache"
    rows = lower(read.json()["rows"])
    done = door.put(YIELDS, {"rows": rows, "reason": "a worse quarter"}, read.headers["ETag"])
    assert done.status_code == 200, done.text
    assert done.json() == {"table": "yields", "revision": 2, "rows": rows}
    assert done.headers["ETag"] == door.get(YIELDS).headers["ETag"] != read.headers["ETag"]
    assert door.get(YIELDS + "?revision=1").json() == read.json()
    assert RateRevision.model_validate_json(door.get("/v1/rates/revisions/1").content).rates == rates
    newest = door.get("/v1/rates/revisions").json()["items"][0]
    assert (newest["number"], newest["created_by"], newest["reason"]) == (2, "the engineer", "a worse quarter")
    assert newest["changed"] == ["yields"]


def test_the_same_rows_again_make_no_revision_and_the_answer_has_the_number_there_is(door: Door) -> None:
    read = door.get(YIELDS)
    done = door.put(YIELDS, {"rows": read.json()["rows"], "reason": "nothing"}, read.headers["ETag"])
    assert (done.status_code, done.json()["revision"], done.headers["ETag"]) == (200, 1, read.headers["ETag"])


def test_a_change_without_the_etag_or_with_an_old_one_is_refused(door: Door) -> None:
    read = door.get(YIELDS)
    update = {"rows": lower(read.json()["rows"]), "reason": "a worse quarter"}
    for missing in (None, "*", ""):
        refused = door.put(YIELDS, update, missing)
        assert (refused.status_code, refused.json()["type"]) == (428, "/problems#if-match-missing")
    for stale in ('"0"', "W/" + read.headers["ETag"], "no quotes"):
        refused = door.put(YIELDS, update, stale)
        assert (refused.status_code, refused.json()["type"]) == (412, "/problems#stale")
        assert refused.headers["Content-Type"] == "application/problem+json"
    assert door.put(YIELDS, update, f'"0", {read.headers["ETag"]}').status_code == 200
    another = {"rows": lower(update["rows"]), "reason": "a worse quarter"}
    stale_now = door.put(YIELDS, another, read.headers["ETag"])
    assert (stale_now.status_code, stale_now.headers["ETag"]) == (412, door.get(YIELDS).headers["ETag"])
    assert len(door.get("/v1/rates/revisions").json()["items"]) == 2


def test_an_etag_without_quotes_is_told_how_to_write_it(door: Door) -> None:
    update = {"rows": lower(door.get(YIELDS).json()["rows"]), "reason": "a worse quarter"}
    assert "write it in quotes" in door.put(YIELDS, update, door.get(YIELDS).headers["ETag"].strip('"')).json()["detail"]


def test_rows_that_a_change_drops_are_named_in_its_answer(door: Door) -> None:
    path = "/v1/rates/tables/commercial"
    read = door.get(path)
    rows = read.json()["rows"]
    body = {"rows": rows[:1], "reason": "one class is enough", "confirm": [f"row-dropped:commercial/{len(rows) - 1} rows"]}
    answer = door.put(path, body, read.headers["ETag"])
    assert answer.json()["dropped"] == [row["name"] for row in rows[1:]]
    assert answer.headers["X-Rows-Dropped"] == str(len(rows) - 1)


def test_a_slash_too_many_is_not_found_and_sends_nobody_to_another_host(door: Door) -> None:
    answer = door.bare("GET", f"{YIELDS}/", headers={"Host": "evil.example"})
    assert (answer.status_code, "Location" in answer.headers) == (404, False)


def test_who_may_includes_the_administrator(door: Door) -> None:
    assert "engineer, service, erp, admin" in door.ask("GET", YIELDS, role="sales").json()["detail"]


def test_a_change_to_another_table_does_not_make_an_etag_stale(door: Door) -> None:
    centring, yields = door.get("/v1/rates/tables/cementing"), door.get(YIELDS)
    assert door.put(YIELDS, {"rows": lower(yields.json()["rows"]), "reason": "x"}, yields.headers["ETag"]).status_code == 200
    rows = centring.json()["rows"]
    rows[0]["cure_min"] += 1
    done = door.put("/v1/rates/tables/cementing", {"rows": rows, "reason": "y"}, centring.headers["ETag"])
    assert (done.status_code, done.json()["revision"]) == (200, 3)


def test_what_the_caller_has_already_is_not_sent_again(door: Door) -> None:
    for path in (YIELDS, "/v1/rates/revisions/1"):
        etag = door.get(path).headers["ETag"]
        for header in (etag, f'"x", W/{etag}', "*"):
            again = door.get(path, If_None_Match=header)
            assert (again.status_code, again.content, again.headers["ETag"]) == (304, b"", etag)
        assert door.get(path, If_None_Match='"x"').status_code == 200


def test_a_revision_may_be_kept_for_ever(door: Door) -> None:
    assert door.get("/v1/rates/revisions/1").headers["Cache-Control"] == "private, max-age=31536000, immutable"


@pytest.mark.parametrize(
    ("accept", "kind"),
    [
        ("text/csv", "text/csv"), ("*/*", "application/json"), ("application/json;q=0.5, text/csv", "text/csv"), ("text/*", "text/csv"),
        ("text/csv;q=0.1, */*;q=0.9", "application/json"), ("text/html, */*;q=0.1", "application/json"), ("", "application/json"),
        ("*/*, application/json;q=0", "text/csv"),
    ],
)  # fmt: skip
def test_the_caller_gets_the_representation_it_likes_best(door: Door, accept: str, kind: str) -> None:
    assert door.get(YIELDS, Accept=accept).headers["Content-Type"].startswith(kind)


@pytest.mark.parametrize("accept", ["text/html", "application/xml, image/*", "text/csv;q=0, application/json;q=0"])
def test_another_representation_is_not_to_be_had(door: Door, accept: str) -> None:
    refused = door.get(YIELDS, Accept=accept)
    assert (refused.status_code, refused.json()["type"]) == (406, "/problems#not-acceptable")


@pytest.mark.parametrize("table", TABLES)
def test_every_table_goes_out_as_csv_and_comes_back_as_the_same_table(door: Door, table: str) -> None:
    path = f"/v1/rates/tables/{table}"
    read = door.get(path, Accept="text/csv")
    assert read.headers["X-Rate-Revision"] == "1"
    back = door.put_raw(path + "?reason=as+it+was", "\ufeff" + read.text.replace("\n", "\r\n"), "text/csv; charset=utf-8")
    assert back.status_code == 200, back.text
    assert (back.json()["revision"], back.headers["ETag"]) == (1, read.headers["ETag"])


def test_a_csv_body_changes_a_table_and_says_why_in_the_address(door: Door, rates: Rates) -> None:
    rows = tuple(row.model_copy(update={"yield_share": 0.5}) for row in rates.yields)
    missing = door.put_raw(YIELDS, rows_to_csv("yields", rows), "text/csv")
    assert (missing.status_code, missing.json()["errors"][0]["pointer"]) == (422, "/query/reason")
    blank = door.put_raw(YIELDS + "?reason=%20", rows_to_csv("yields", rows), "text/csv")
    assert blank.status_code == 422
    done = door.put_raw(YIELDS + "?reason=half+of+it", rows_to_csv("yields", rows), "text/csv")
    assert (done.status_code, done.json()["rows"][0]["yield"]) == (200, 0.5)
    assert door.get("/v1/rates/revisions?limit=1").json()["items"][0]["reason"] == "half of it"


def test_a_csv_body_that_is_no_utf_8_names_its_line(door: Door) -> None:
    refused = door.put_raw(YIELDS + "?reason=x", b"name,source\nx,\x81\n", "text/csv")
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["reason"] == "line 2 is not UTF-8"


def test_a_body_of_another_kind_is_refused_and_told_which_would_do(door: Door) -> None:
    refused = door.put_raw(YIELDS, "<x/>", "application/xml")
    assert (refused.status_code, refused.headers["Accept"]) == (415, "application/json, text/csv")


def test_wrong_cells_are_named_with_figure_limit_and_what_would_do(door: Door) -> None:
    rows = door.get(YIELDS).json()["rows"]
    rows[2]["yield"] = 1.5
    rows[4]["operation"] = "sing"
    del rows[5]["source"]
    rows[6]["colour"] = "blue"
    rows[7]["name"] = rows[1]["name"]
    refused = door.put_raw(YIELDS, json.dumps({"rows": rows, "reason": "x"}))
    assert refused.status_code == 422
    found = {error["pointer"]: error for error in refused.json()["errors"]}
    assert list(found) == [
        "/rows/2/yield", "/rows/4/operation", "/rows/5/source", "/rows/6/colour", "/rows/7/name",
    ]  # fmt: skip
    assert (found["/rows/2/yield"]["figure"], found["/rows/2/yield"]["limit"]) == (1.5, 1)
    assert all(error["remedy"] for error in found.values())
    assert len(door.get("/v1/rates/revisions").json()["items"]) == 1


@pytest.mark.parametrize(
    "body",
    [
        "", "{", "[]", "null", "1", '{"rows": []}', '{"rows": [], "reason": "x"}', '{"rows": [1], "reason": "x"}', "\x00", b"\xff\xfe",
        '{"rows": [{}], "reason": "x"}', '{"rows": [{"name": "a\\ud800"}], "reason": "x"}', '{"rows": [{"\\ud800": 1}], "reason": "x"}',
        '{"rows": [{"name": "x"}], "reason": "a\\ud800"}', '{"rows": [{"name": "x"}], "reason": "a\\u0000b"}',
        '{"rows": [{"yield": NaN}], "reason": "x"}', '{"rows": [{"yield": 1e999, "batch_loss": -Infinity}], "reason": "x"}',
        '{"rows": [{"yield": ' + "9" * 4000 + '}], "reason": "x"}', '{"rows": [{"yield": ' + "9" * 5000 + '}], "reason": "x"}',
        '{"rows": [{"yield": ' + "[" * 900 + "]" * 900 + '}], "reason": "x"}', "[" * 100_000,
        '{"rows": [{"a/b~c": 1}], "reason": "x"}', '{"rows": [{"as_of": 1e300}], "reason": "x"}',
    ],
)  # fmt: skip
def test_nonsense_gets_a_problem_and_never_a_500(door: Door, body: str | bytes) -> None:
    refused = door.put_raw(YIELDS, body)
    assert refused.status_code in (400, 422), refused.text
    assert refused.headers["Content-Type"] == "application/problem+json"


@pytest.mark.parametrize(
    "text",
    [
        "", "\n\n", "name", "name,source,as_of,operation,yield\n", "name,name\nx,y\n", "colour\nblue\n", 'name\n"x', "name\nx,y,z\n",
        "yield\nnan\n", "yield\ninf\n", "yield\n1_0\n", "name\n\x00\n", "name\n" + "x" * 200_000, "yield\n" + "9" * 5000,
        ";".join(["name", "source"]) + "\nx;y\n", "a/b~c\n1\n", "yield\n0,9\n",
    ],
)  # fmt: skip
def test_nonsense_as_csv_gets_a_problem_and_never_a_500(door: Door, text: str) -> None:
    refused = door.put_raw(YIELDS + "?reason=x", text, "text/csv")
    assert refused.status_code == 422, refused.text
    assert refused.json()["errors"]


def test_a_thousand_faults_are_counted_and_a_hundred_named(door: Door) -> None:
    refused = door.put_raw(YIELDS, json.dumps({"rows": [{"name": "x"}] * 1000, "reason": "x"})).json()
    assert "4000 cells" in refused["detail"]
    assert len(refused["errors"]) == 100


def test_a_reason_of_two_lines_is_refused_for_every_reader_of_it_would_break(door: Door) -> None:
    rows = lower(door.get(YIELDS).json()["rows"])
    refused = door.put_raw(YIELDS, json.dumps({"rows": rows, "reason": "one\ntwo"}))
    assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (422, "/reason")
    assert door.put_raw(YIELDS + "?reason=one%0Atwo", "x", "text/csv").status_code == 422
    assert door.get("/v1/rates/revisions").status_code == 200


def test_contradictions_are_refused_at_their_cells(door: Door) -> None:
    path = "/v1/rates/tables/currencies"
    rows = door.get(path).json()["rows"]
    rows[2]["per_base"] = "1"
    refused = door.put_raw(path, json.dumps({"rows": rows, "reason": "x"}))
    assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (422, "/rows/2/per_base")


def test_who_may_read_and_who_may_change(door: Door) -> None:
    for role, status in {"sales": 403, "erp": 403, "service": 200, "engineer": 200, "admin": 200}.items():
        for path in (YIELDS, "/v1/rates/revisions", "/v1/rates/revisions/1"):
            assert door.ask("GET", path, role=role).status_code == status, (role, path)
    for role, status in {"sales": 403, "erp": 403, "service": 403, "engineer": 428, "admin": 428}.items():
        assert door.ask("PUT", YIELDS, role=role, json={}).status_code == status, role
    assert door.bare("GET", YIELDS).status_code == 401


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/v1/rates/tables/marbles", 404), ("/v1/rates/tables/%00", 404), (YIELDS + "?revision=9", 404), (YIELDS + "?revision=0", 422),
        (YIELDS + "?revision=x", 422), ("/v1/rates/revisions/9", 404), ("/v1/rates/revisions/0", 422),
        ("/v1/rates/revisions/99999999999999999999", 422), ("/v1/rates/revisions?limit=0", 422), ("/v1/rates/revisions?limit=201", 422),
        ("/v1/rates/revisions?cursor=x", 422),
    ],
)  # fmt: skip
def test_what_is_not_there_or_cannot_be_is_named(door: Door, path: str, status: int) -> None:
    answer = door.get(path)
    assert (answer.status_code, answer.headers["Content-Type"]) == (status, "application/problem+json")
    if status == 422:
        assert answer.json()["errors"]


def test_an_unknown_table_is_not_there_for_a_change_either(door: Door) -> None:
    assert door.put("/v1/rates/tables/marbles", {}, None).status_code == 404


def test_pages_of_revisions_go_back_to_the_first_and_miss_none(door: Door) -> None:
    for share in (0.99, 0.98, 0.97, 0.96):
        read = door.get(YIELDS)
        rows = [{**row, "yield": share} for row in read.json()["rows"]]
        assert door.put(YIELDS, {"rows": rows, "reason": "x"}, read.headers["ETag"]).status_code == 200
    numbers, cursor = [], None
    while True:
        page = door.ask("GET", "/v1/rates/revisions", params={"limit": 2, **({"cursor": cursor} if cursor else {})}).json()
        numbers += [item["number"] for item in page["items"]]
        cursor = page["next"]
        if cursor is None:
            break
    assert numbers == [5, 4, 3, 2, 1]


def test_a_process_of_the_suite_reads_revisions_with_its_key(door: Door, rates: Rates) -> None:
    def answer(request: httpx.Request) -> httpx.Response:
        got = door.bare("GET", str(request.url), headers=dict(request.headers))
        return httpx.Response(got.status_code, content=got.content)

    source = HttpRateSource("http://rates", door.keys["service"], transport=httpx.MockTransport(answer))
    assert source.latest().number == 1
    assert source.revision(1).rates == rates
    with pytest.raises(RevisionNotFound):
        source.revision(2)


def test_the_description_declares_every_refusal_of_a_change(door: Door) -> None:
    operation = door.bare("GET", "/openapi.json").json()["paths"]["/v1/rates/tables/{table}"]["put"]
    assert {"200", "400", "401", "403", "404", "406", "412", "413", "415", "422", "428", "500", "503"} <= set(
        operation["responses"]
    )
    assert set(operation["requestBody"]["content"]) == {"application/json", "text/csv"}
