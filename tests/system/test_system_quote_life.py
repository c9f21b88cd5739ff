"""The life of a quote on the running box: revisions, decisions, expiry, comparison, waiting, and requests in bulk."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import httpx
import psutil
import pytest

from services.chassis.database import Database
from services.chassis.one_box import Address
from services.chassis.pipeline import write_section
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import NewQuote
from shared_schemas.quote_request import QuoteRequest
from tests.system.asking import FINAL

ClientOf = Callable[[str | None], httpx.Client]
Quoted = Callable[..., dict[str, Any]]


@pytest.fixture
def single(demo: dict[str, Any]) -> dict[str, Any]:
    """The first element of the demo alone: quickly worked out."""
    lens = demo["prescription"]
    return {
        **demo,
        "prescription": {"title": "one element", "elements": lens["elements"][:1], "spaces": []},
        "quantities": [5, 25],
        "customer": "Tarn & Fell",
    }


def settled(sales: httpx.Client, number: str, revision: int) -> dict[str, Any]:
    give_up_at = time.monotonic() + 30
    while time.monotonic() < give_up_at:
        quote: dict[str, Any] = sales.get(f"/v1/quotes/{number}", params={"revision": revision}).json()
        if quote["status"] in FINAL:
            return quote
        time.sleep(0.05)
    raise AssertionError(f"{number} revision {revision} was still {quote['status']}")


def test_a_quote_goes_through_its_whole_life(sales: httpx.Client, client_of: ClientOf, single: dict[str, Any]) -> None:
    asked = sales.post("/v1/quotes", json=single, headers={"Prefer": "wait=30"})
    assert (asked.status_code, asked.headers["Preference-Applied"]) == (201, "wait=30"), asked.text
    first = asked.json()
    number = first["number"]
    assert asked.headers["Location"] == f"/v1/quotes/{number}"
    assert (first["status"], first["state"], first["revision"]) == ("ready", "open", 1)
    again = sales.post(f"/v1/quotes/{number}/requote", json={"changes": {"quantities": [25, 60]}}, headers={"Prefer": "wait=30"})
    assert (again.status_code, again.headers["Location"]) == (201, f"/v1/quotes/{number}?revision=2"), again.text
    second = again.json()
    assert (second["number"], second["revision"], [one["quantity"] for one in second["breaks"]]) == (number, 2, [25, 60])
    unchanged = sales.get(f"/v1/quotes/{number}", params={"revision": 1}).json()
    assert unchanged == first | {"latest_revision": 2}
    found = sales.get(f"/v1/quotes/{number}/compare", params={"with": 1}).json()
    at_25 = next(one for one in found["breaks"] if one["quantity"] == 25)
    assert Decimal(at_25["total_price"]["difference"]) == 0, "the same rates, the same day, the same price"
    order = {"decision": "accepted", "quantity": 60, "by": "R. Lindqvist"}
    told = sales.post(f"/v1/quotes/{number}/decision", json=order)
    assert told.status_code == 200, told.text
    assert sales.post(f"/v1/quotes/{number}/decision", json=order).json() == told.json()
    assert sales.post(f"/v1/quotes/{number}/decision", json={**order, "quantity": 25}).status_code == 409
    assert number in [one["number"] for one in sales.get("/v1/quotes", params={"state": "accepted"}).json()["items"]]
    with sales.stream("GET", f"/v1/quotes/{number}/events", params={"revision": 2}) as answer:
        assert [line for line in answer.iter_lines() if line.startswith("event: ")][-1] == "event: ready"
    erp = client_of("erp")
    items, after = [], None
    while page := erp.get("/v1/estimates", params={"after": after} if after else {}).json():
        if not page["items"]:
            break
        items += page["items"]
        after = page["next"]
    ours = [one for one in items if one["quote_number"] == number]
    happened = [(one["type"], one["revision"]) for one in ours]
    assert happened == [("ready", 1), ("ready", 2), ("superseded", 1), ("accepted", 2)], "the order comes as an entry of its own"
    assert ours[-1]["decision"]["decision"] == "accepted"
    assert ours[-1]["decision"]["quantity"] == 60
    assert erp.get(f"/v1/estimates/{ours[1]['number']}").json()["revision"] == 2


def test_ten_requotes_under_one_key_are_one_revision(sales: httpx.Client, quoted: Quoted, single: dict[str, Any]) -> None:
    number = quoted(sales, single)["number"]
    for _ in range(10):
        answer = sales.post(f"/v1/quotes/{number}/requote", json={}, headers={"Idempotency-Key": f"again-{number}"})
        assert (answer.status_code, answer.json()["revision"]) == (202, 2), answer.text
    assert settled(sales, number, 2)["latest_revision"] == 2


def test_a_quote_of_last_year_has_expired_and_is_quoted_anew(
    box: Address, sales: httpx.Client, client_of: ClientOf, single: dict[str, Any]
) -> None:
    """A request that was accepted long ago and is only worked out now: the sweeper finds it, and its price is of that day."""
    api = psutil.Process(json.loads((box.folder / "state.json").read_text(encoding="utf-8"))["api"]["pid"])
    url = api.environ()["BLANKWRIGHT_DATABASE_URL"]
    long_ago = datetime.now(UTC) - timedelta(days=400)
    latest = client_of("engineer").get("/v1/rates/revisions", params={"limit": 1}).json()["items"][0]["number"]
    database = Database(url)
    try:
        begun, _ = QuoteStore(database).accept(
            NewQuote(
                request=write_section(QuoteRequest.model_validate(single)),
                customer="",
                title="long ago",
                rate_revision=latest,
                quoted_on=long_ago.date(),
                trace="0" * 32,
            ),
            None,
            now=long_ago,
        )
    finally:
        database.close()
    quote = settled(sales, begun.quote_number, 1)
    assert (quote["status"], quote["state"]) == ("ready", "expired"), quote["problem"]
    late = sales.post(f"/v1/quotes/{begun.quote_number}/decision", json={"decision": "accepted", "quantity": 5, "by": "x"})
    assert late.status_code == 409
    assert "requote" in late.json()["detail"]
    assert begun.quote_number in [one["number"] for one in sales.get("/v1/quotes", params={"state": "expired"}).json()["items"]]
    anew = sales.post(f"/v1/quotes/{begun.quote_number}/requote", headers={"Prefer": "wait=30"}).json()
    assert (anew["revision"], anew["state"], anew["quoted_on"]) == (2, "open", datetime.now(UTC).date().isoformat())
    assert sales.get(f"/v1/quotes/{begun.quote_number}", params={"revision": 1}).json()["digest"] == quote["digest"]


def test_a_batch_of_fifty_arrives_whole_and_a_single_quote_passes_it(sales: httpx.Client, single: dict[str, Any]) -> None:
    requests = [{**single, "customer": f"customer {n}"} for n in range(50)]
    broken = json.loads(json.dumps(requests))
    broken[17]["prescription"]["elements"][0]["glass"] = "N-BK77"
    refused = sales.post("/v1/quote-batches", json={"requests": broken})
    assert refused.status_code == 422
    assert [error["pointer"] for error in refused.json()["errors"]] == ["/requests/17/prescription/elements/0/glass"]
    headers = {"Idempotency-Key": f"batch-{time.time_ns()}"}
    accepted = sales.post("/v1/quote-batches", json={"requests": requests}, headers=headers)
    assert accepted.status_code == 202, accepted.text
    place = accepted.headers["Location"]
    assert (
        sales.post("/v1/quote-batches", json={"requests": requests}, headers=headers).json()["number"] == accepted.json()["number"]
    )
    alone = sales.post("/v1/quotes", json={**single, "quantities": [7]}, headers={"Prefer": "wait=30"})
    assert alone.json()["status"] == "ready"
    meanwhile = sales.get(place).json()["counts"]
    assert sum(meanwhile.values()) == 50
    done = sales.post("/v1/quote-batches", json={"requests": requests}, headers={**headers, "Prefer": "wait=60"})
    assert done.status_code == 200, done.text
    assert (done.json()["status"], done.json()["counts"]) == (
        "finished",
        {"in_work": 0, "ready": 50, "refused": 0, "failed": 0, "cancelled": 0},
    )
    assert [one["number"] for one in done.json()["items"]] == accepted.json()["quotes"]
    digests = {sales.get(f"/v1/quotes/{number}").json()["digest"] for number in accepted.json()["quotes"][:3]}
    assert len(digests) == 1, "the same request has the same figures, whoever asks"


@pytest.mark.parametrize(
    ("path", "body", "pointer"),
    [
        ("/v1/quote-batches", {"requests": []}, "/requests"),
        ("/v1/quote-batches", {"requests": [{}] * 1001}, "/requests"),
        ("/v1/quote-batches", {}, "/requests"),
        ("/v1/quote-batches", {"requests": {}}, "/requests"),
        ("/v1/quotes/Q-2026-000001/decision", {"decision": "accepted", "by": "x"}, "/quantity"),
        ("/v1/quotes/Q-2026-000001/decision", {"decision": "perhaps", "by": "x"}, "/decision"),
        ("/v1/quotes/Q-2026-000001/requote", {"changes": []}, "/changes"),
        ("/v1/quotes/Q-2026-000001/requote", {"changes": {"rate_revision": 1}}, "/changes/rate_revision"),
    ],
)
def test_what_says_nothing_usable_is_named_with_what_would_do(
    sales: httpx.Client, path: str, body: dict[str, Any], pointer: str
) -> None:
    answer = sales.post(path, json=body)
    assert answer.status_code == 422, answer.text
    errors = {error["pointer"]: error for error in answer.json()["errors"]}
    assert pointer in errors
    assert errors[pointer].get("remedy"), errors


@pytest.mark.parametrize("prefer", ["wait=-1", "wait", "wait=soon", "=", '"', "wait=1e3"])
def test_a_preference_that_cannot_be_read_is_passed_over(sales: httpx.Client, single: dict[str, Any], prefer: str) -> None:
    answer = sales.post("/v1/quotes", json=single, headers={"Prefer": prefer})
    assert answer.status_code == 202, answer.text
    assert "Preference-Applied" not in answer.headers


def test_only_sales_asks_again_decides_and_sends_batches(client_of: ClientOf) -> None:
    for path in ("/v1/quotes/Q-2026-000001/requote", "/v1/quotes/Q-2026-000001/decision", "/v1/quote-batches"):
        for role in ("erp", "engineer"):
            assert client_of(role).post(path, json={}).status_code == 403, (role, path)
        assert client_of(None).post(path, json={}).status_code == 401
