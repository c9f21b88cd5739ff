"""The main job on the running box: a lens goes in, a quote comes out, and it is the same quote every time."""

from __future__ import annotations

import json
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import httpx
import pytest

Quoted = Callable[..., dict[str, Any]]
ClientOf = Callable[[str | None], httpx.Client]


@pytest.fixture(scope="module")
def ready(sales: httpx.Client, quoted: Quoted) -> dict[str, Any]:
    from pathlib import Path  # noqa: PLC0415

    (demo,) = (Path(__file__).resolve().parents[2] / "services" / "desk" / "demo").glob("lake_*.json")
    quote = quoted(sales, json.loads(demo.read_text(encoding="utf-8")))
    assert quote["status"] == "ready", quote["problem"]
    return quote


def test_the_demo_lens_is_quoted_at_three_quantities(ready: dict[str, Any]) -> None:
    assert [line["quantity"] for line in ready["breaks"]] == [5, 25, 100]
    prices = [Decimal(line["unit_price"]) for line in ready["breaks"]]
    assert prices == sorted(prices, reverse=True), "a larger quantity costs less apiece"
    assert all(price > 0 for price in prices)


def test_the_lines_of_every_price_add_up_to_the_cent(ready: dict[str, Any]) -> None:
    for line in ready["breaks"]:
        assert sum(Decimal(part["amount"]) for part in line["lines"]) == Decimal(line["total_price"])
        assert Decimal(line["unit_price"]) * line["quantity"] == Decimal(line["total_price"])


def test_every_element_is_routed_and_enough_of_each_is_started(ready: dict[str, Any]) -> None:
    names = [element["name"] for element in ready["prescription"]["elements"]]
    assert [element["name"] for element in ready["elements"]] == names
    for line in ready["breaks"]:
        assert all(line["start_quantities"][name] >= line["quantity"] for name in names)
    for element in ready["elements"]:
        done = [operation["operation"] for operation in element["operations"]]
        assert done.count("polish") == 2, "one run for each face"
        assert "centre" in done


def test_the_polishing_minutes_of_a_face_lead_back_to_preston_and_a_dated_rate_row(ready: dict[str, Any]) -> None:
    polish = next(op for op in ready["elements"][1]["operations"] if op["operation"] == "polish" and op["face"] == "back")
    rows = list(rate_rows(polish["basis"]))
    assert any(row["table"] == "polishing" for row in rows)
    assert all(row["as_of"] and row["source"] for row in rows)
    assert "pressure" in json.dumps(polish["basis"])


def rate_rows(figures: list[dict[str, Any]]) -> Any:
    for figure in figures:
        if "rate_row" in figure:
            yield figure["rate_row"]
        yield from rate_rows(figure.get("inputs", []))


def test_the_same_request_twice_gives_the_same_digest_and_the_same_figures(
    sales: httpx.Client, quoted: Quoted, ready: dict[str, Any], demo: dict[str, Any]
) -> None:
    again = quoted(sales, demo)
    assert again["number"] != ready["number"]
    assert again["digest"] == ready["digest"]
    differing = {key for key in ready if ready[key] != again[key]}
    assert differing <= {"number", "created_at", "finished_at"}


def test_a_quote_that_is_read_twice_has_the_same_bytes(sales: httpx.Client, ready: dict[str, Any]) -> None:
    place = f"/v1/quotes/{ready['number']}"
    assert sales.get(place).content == sales.get(place).content


def test_an_idempotency_key_makes_one_quote_of_two_requests(sales: httpx.Client, demo: dict[str, Any]) -> None:
    first = sales.post("/v1/quotes", json=demo, headers={"Idempotency-Key": "order-4711"})
    second = sales.post("/v1/quotes", json=demo, headers={"Idempotency-Key": "order-4711"})
    assert (first.status_code, second.status_code) == (202, 202)
    assert first.json()["number"] == second.json()["number"]
    assert second.headers["Location"] == f"/v1/quotes/{first.json()['number']}"
    other = sales.post("/v1/quotes", json={**demo, "quantities": [7]}, headers={"Idempotency-Key": "order-4711"})
    assert other.status_code == 422
    assert "Use a new key" in other.json()["detail"]


def test_a_lens_that_cannot_be_made_is_refused_with_reasons(sales: httpx.Client, quoted: Quoted, demo: dict[str, Any]) -> None:
    element = demo["prescription"]["elements"][0]
    element["centre_thickness_mm"] = 0.2
    quote = quoted(sales, demo)
    assert quote["status"] == "refused"
    reason = quote["problem"]["errors"][0]
    assert reason["pointer"].startswith("/prescription/")
    assert reason["figure"] is not None
    assert quote["breaks"] is None


def test_the_list_of_quotes_goes_on_page_by_page(sales: httpx.Client, ready: dict[str, Any]) -> None:
    seen = []
    cursor = None
    for _ in range(500):
        page = sales.get("/v1/quotes", params={"limit": 2, **({"cursor": cursor} if cursor else {})}).json()
        seen += [item["number"] for item in page["items"]]
        cursor = page["next"]
        if cursor is None:
            break
    assert len(seen) == len(set(seen))
    assert ready["number"] in seen
    assert seen == sorted(seen, key=lambda number: number.rpartition("-")[2], reverse=True)


def test_the_erp_pulls_the_estimate_of_a_ready_quote(client_of: ClientOf, ready: dict[str, Any]) -> None:
    erp = client_of("erp")
    items: list[dict[str, Any]] = []
    page = {"next": None}
    while page["next"] is None or page["items"]:
        page = erp.get("/v1/estimates", params={"after": page["next"]} if page["next"] else {}).json()
        items += page["items"]
    item = next(item for item in items if item["quote_number"] == ready["number"])
    estimate = erp.get(f"/v1/estimates/{item['number']}").json()
    assert {need["kind"] for need in estimate["quantities"][0]["materials"]} >= {"glass"}
    assert [route["part"] for route in estimate["routes"]][-1]
    assert estimate["quantities"][0]["total_price"] == ready["breaks"][0]["total_price"]
    plan = erp.get(f"/v1/estimates/{item['number']}", params={"view": "plan"})
    assert len(plan.content) <= 40_000
    (planned,) = plan.json()["quantities"]
    assert Decimal(planned["total_payable"]) - Decimal(planned["total_price"]) == sum(
        Decimal(tool["charge"]) for tool in ready["tooling"]
    )
    after = erp.get("/v1/estimates", params={"after": page["next"]}).json()
    assert ready["number"] not in [item["quote_number"] for item in after["items"]]


def test_an_engineer_changes_a_rate_and_old_quotes_keep_their_revision(
    client_of: ClientOf, sales: httpx.Client, quoted: Quoted, ready: dict[str, Any], demo: dict[str, Any]
) -> None:
    engineer = client_of("engineer")
    read = engineer.get("/v1/rates/tables/work_centres")
    rows = read.json()["rows"]
    for row in rows:
        row["labour_rate_per_h"] = str(Decimal(row["labour_rate_per_h"]) * 2)
    update = {"rows": rows, "reason": "wages of the coming year"}
    assert engineer.put("/v1/rates/tables/work_centres", json=update).status_code == 428
    stale = engineer.put("/v1/rates/tables/work_centres", json=update, headers={"If-Match": '"0"'})
    assert stale.status_code == 412
    done = engineer.put("/v1/rates/tables/work_centres", json=update, headers={"If-Match": read.headers["ETag"]})
    assert done.status_code == 200, done.text
    assert done.json()["revision"] == ready["rate_revision"] + 1
    dearer = quoted(sales, demo)
    assert dearer["rate_revision"] == ready["rate_revision"] + 1
    assert Decimal(dearer["breaks"][0]["unit_price"]) > Decimal(ready["breaks"][0]["unit_price"])
    assert sales.get(f"/v1/quotes/{ready['number']}").json()["digest"] == ready["digest"]
    as_before = quoted(sales, {**demo, "rate_revision": ready["rate_revision"]})
    assert as_before["digest"] == ready["digest"]


def test_a_prescription_can_be_checked_without_a_quote(sales: httpx.Client, demo: dict[str, Any]) -> None:
    report = sales.post("/v1/prescriptions/check", json=demo["prescription"])
    assert report.status_code == 200, report.text
    assert report.json()["makeable"] in ("yes", "with_care")
    assert report.json()["first_order"]["focal_length_mm"] > 0


def test_a_quote_can_be_followed_to_its_outcome(sales: httpx.Client, demo: dict[str, Any]) -> None:
    number = sales.post("/v1/quotes", json=demo).json()["number"]
    with sales.stream("GET", f"/v1/quotes/{number}/events") as answer:
        assert answer.headers["content-type"].startswith("text/event-stream")
        events = [line.removeprefix("event: ") for line in answer.iter_lines() if line.startswith("event: ")]
    assert events == ["accepted", "checking", "planning_blanks", "planning_operations", "assembling", "ready"]
    with sales.stream("GET", f"/v1/quotes/{number}/events", headers={"Last-Event-ID": "4"}) as answer:
        assert [line for line in answer.iter_lines() if line.startswith("event: ")] == ["event: ready"]
    assert sales.get("/v1/quotes/Q-1999-000001/events").status_code == 404


def test_every_price_is_explained_down_to_dated_rate_rows(client_of: ClientOf, sales: httpx.Client, ready: dict[str, Any]) -> None:
    place = f"/v1/quotes/{ready['number']}/explanation"
    explanation = sales.get(place).json()
    assert client_of("engineer").get(place).status_code == 200
    for break_, explained in zip(ready["breaks"], explanation["breaks"], strict=True):
        values = {figure["name"]: figure["value"] for figure in explained["figures"]}
        assert Decimal(values["unit_price"]) == Decimal(break_["unit_price"])
        tables = {row["table"] for row in rate_rows(explained["figures"])}
        assert {"commercial", "currencies", "work_centres", "stock_forms"} <= tables
    assert sales.get("/v1/quotes/Q-1999-000001/explanation").status_code == 404
