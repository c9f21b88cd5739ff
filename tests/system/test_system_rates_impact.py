"""A proposed rate table on the running box: what it would do to open quotes, which stay as they are."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import httpx
import pytest

ClientOf = Callable[[str | None], httpx.Client]
Quoted = Callable[..., dict[str, Any]]
IMPACT = "/v1/rates/impact"


@pytest.fixture
def engineer(client_of: ClientOf) -> httpx.Client:
    return client_of("engineer")


@pytest.fixture
def slower(engineer: httpx.Client) -> list[dict[str, Any]]:
    """The polishing rows with a polisher that takes a tenth longer for everything."""
    rows = copy.deepcopy(engineer.get("/v1/rates/tables/polishing").json()["rows"])
    for row in rows:
        row["preston_coefficient_per_pa"] /= 1.1
    return list(rows)


def test_slower_polishing_makes_open_quotes_dearer_and_leaves_them_as_they_are(
    sales: httpx.Client, engineer: httpx.Client, quoted: Quoted, demo: dict[str, Any], slower: list[dict[str, Any]]
) -> None:
    first, second = (quoted(sales, {**demo, "customer": name}) for name in ("Tarn & Fell", "Skerry Optics"))
    newest = engineer.get("/v1/rates/revisions").json()["items"][0]
    asked = {"table": "polishing", "rows": slower, "quotes": [first["number"], second["number"]]}
    answer = engineer.post(IMPACT, json=asked, headers={"Prefer": "wait=60"})
    assert (answer.status_code, answer.headers["Preference-Applied"]) == (201, "wait=60"), answer.text
    found = answer.json()
    assert answer.headers["Location"] == f"{IMPACT}/{found['number']}"
    assert (found["status"], found["base_revision"], found["counts"]["ready"]) == ("done", newest["number"], 2)
    assert found["proposal"] < 0
    assert [one["number"] for one in found["items"]] == asked["quotes"]
    for one, quote in zip(found["items"], (first, second), strict=True):
        assert (one["today_as_issued"], one["outcome"]) == (quote["rate_revision"] == newest["number"], "ready")
        for inner, issued in zip(one["figures"]["breaks"], quote["breaks"], strict=True):
            assert inner["unit_price"]["issued"] == inner["unit_price"]["today"] == issued["unit_price"]
            assert Decimal(inner["unit_price"]["effect"]) > 0
            assert inner["price_kept"]["margin_share_draft"] < inner["price_kept"]["margin_share_issued"]
            assert inner["price_kept"]["loss_chance_issued"] == issued["loss_chance"]
    totals = found["totals"]
    assert (totals["changed"], totals["dearer"], totals["cheaper"], totals["drifted"]) == (2, 2, 0, 0)
    assert sorted(one["customer"] for one in found["by_customer"]) == ["Skerry Optics", "Tarn & Fell"]
    smallest = sum(Decimal(quote["breaks"][0]["total_price"]) for quote in (first, second))
    assert Decimal(totals["sums"][0]["smallest"]["today"]) == smallest
    for quote in (first, second):
        assert sales.get(f"/v1/quotes/{quote['number']}").json() == quote
    assert engineer.get("/v1/rates/revisions").json()["items"][0] == newest
    page = engineer.get(answer.headers["Location"], params={"limit": 1}).json()
    assert (len(page["items"]), page["totals"]) == (1, totals)
    rest = engineer.get(answer.headers["Location"], params={"cursor": page["next"]}).json()
    assert (rest["items"], rest["next"]) == (found["items"][1:], None)


def test_the_table_as_it_stands_changes_no_quote_that_was_issued_at_it(
    sales: httpx.Client, engineer: httpx.Client, quoted: Quoted, demo: dict[str, Any]
) -> None:
    quote = quoted(sales, demo)
    ready = engineer.get("/v1/rates/readiness", params={"quote": quote["number"]}).json()
    assert (
        sum(Decimal(one["money"]) for one in ready["by_table"])
        == Decimal(ready["total"])
        == Decimal(quote["breaks"][1]["total_price"])
    )
    (trial,) = [one for one in quote["findings"] if one["code"] == "rests-on-invented-rates"]
    assert trial["figure"] > 0.9, "the rates of the demo are invented"
    text = engineer.get("/v1/rates/tables/polishing", headers={"Accept": "text/csv"}).text
    headers = {"Content-Type": "text/csv", "Prefer": "wait=60"}
    query = {"table": "polishing", "quotes": quote["number"]}
    found = engineer.post(IMPACT, params=query, content=text.encode(), headers=headers).json()
    assert (found["totals"]["changed"], found["items"][0]["today_as_issued"]) == (0, True)
    assert found["proposal_digest"] == quote["rate_digest"]
    assert found["items"][0]["figures"]["breaks"][0]["price_kept"]["loss_chance_draft"] == quote["breaks"][0]["loss_chance"]


def test_a_wrong_cell_is_named_as_for_a_change(engineer: httpx.Client, slower: list[dict[str, Any]]) -> None:
    slower[2]["preston_coefficient_per_pa"] = -1
    slower[3]["glass"] = "N-BK77"
    asked = engineer.post(IMPACT, json={"table": "polishing", "rows": slower})
    etag = engineer.get("/v1/rates/tables/polishing").headers["ETag"]
    put = engineer.put("/v1/rates/tables/polishing", json={"rows": slower, "reason": "x"}, headers={"If-Match": etag})
    assert asked.status_code == put.status_code == 422
    assert asked.json()["errors"] == put.json()["errors"]
    assert asked.json()["errors"][0]["pointer"] == "/rows/2/preston_coefficient_per_pa"


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"table": "polish", "rows": [{}]}, "/table"),
        ({"table": "polishing", "rows": []}, "/rows"),
        ({"table": "polishing"}, "/rows"),
        ({"table": "polishing", "rows": [{}], "most": 2001}, "/most"),
        ({"table": "polishing", "rows": [{}], "quotes": ["Q-1999-000001"]}, "/quotes/0"),
        ({"table": "polishing", "rows": [{}], "quotes": ["Q-1999-000001", "Q-1999-000001"]}, "/quotes/1"),
        ({"table": "polishing", "rows": [{}], "quotes": []}, "/quotes"),
        ({"table": "polishing", "rows": [{}], "quotes": ["Q\x00"]}, "/quotes/0"),
        ({"table": "polishing", "rows": [{}], "quotes": ["\ud800"]}, "/quotes/0"),
        ({"table": "polishing", "rows": [{"name": "\ud800"}]}, "/rows/0/name"),
        ({"table": "polishing", "rows": [{"name": float("nan")}]}, "/rows/0/name"),
        ([], ""),
    ],
)
def test_what_says_nothing_usable_is_named(engineer: httpx.Client, body: Any, pointer: str) -> None:
    answer = engineer.post(IMPACT, content=json.dumps(body).encode(), headers={"Content-Type": "application/json"})
    assert answer.status_code == 422, answer.text
    assert pointer in [error["pointer"] for error in answer.json()["errors"]], answer.text


def test_only_an_engineer_asks_and_reads(client_of: ClientOf) -> None:
    for role in ("sales", "erp"):
        assert client_of(role).post(IMPACT, json={}).status_code == 403
        assert client_of(role).get(f"{IMPACT}/I-2026-000001").status_code == 403
    assert client_of(None).post(IMPACT, json={}).status_code == 401
    engineer = client_of("engineer")
    for number in ("I-1999-000001", "I-2026-000001.1", "x"):
        assert engineer.get(f"{IMPACT}/{number}").status_code == 404
    assert engineer.post(IMPACT, content=b"{", headers={"Content-Type": "application/json"}).status_code == 400
    assert engineer.post(IMPACT, content=b"x", headers={"Content-Type": "text/plain"}).status_code == 415
    for depth in (200, 900, 980, 990, 1000, 100_000):
        nested = b'{"table": "polishing", "rows": [{"name": ' + b"[" * depth + b"]" * depth + b"}]}"
        answer = engineer.post(IMPACT, content=nested, headers={"Content-Type": "application/json"})
        assert answer.status_code in (400, 422), (depth, answer.text)
    assert engineer.get("/v1/rates/proposals/999999").status_code == 404
