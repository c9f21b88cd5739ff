"""What was quoted before an upgrade stands, is read and is quoted anew after it."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from tests.upgrade.conftest import COMPLETE, NOW, STATES, Upgraded, outcomes_of

DEMO = Path(__file__).resolve().parents[2] / "services/desk/demo/lake_ice_lidar.json"


def places_of(upgraded: Upgraded) -> list[tuple[str, str]]:
    """Row number and address of each old revision that was ready."""
    addresses = []
    for number in upgraded.ready:
        quote, _, revision = number.partition(".")
        addresses.append((number, f"/v1/quotes/{quote}{{}}?revision={revision or 1}"))
    return addresses


def test_states_of_the_project_are_kept() -> None:
    assert len(STATES) >= 4


def test_no_quote_of_before_has_changed(upgraded: Upgraded) -> None:
    after = outcomes_of(upgraded.database)
    assert {number: after[number] for number in upgraded.outcomes} == upgraded.outcomes
    with pytest.raises(DBAPIError, match="never changed"), upgraded.database.transaction() as connection:
        connection.execute(text("update quoting.outcomes set digest = 'x'"))


def test_every_quote_of_before_is_read_as_it_was(upgraded: Upgraded) -> None:
    for number, address in places_of(upgraded):
        body = upgraded.outcomes[number].body
        assert body is not None
        quoted = json.loads(body)
        shown = upgraded.shop.get(address.format(""))
        assert shown["digest"] == upgraded.outcomes[number].digest
        assert {key: shown[key] for key in quoted} == quoted
    for number, outcome in upgraded.outcomes.items():
        assert upgraded.shop.get(f"/v1/quotes/{number.partition('.')[0]}")["status"] in ("ready", outcome.status)


def test_every_quote_of_before_has_its_sheet_with_its_prices(upgraded: Upgraded) -> None:
    for number, address in places_of(upgraded):
        sheet = upgraded.shop.ask("GET", address.format("/sheet"), headers={"Accept": "text/html"})
        assert sheet.status_code == 200, sheet.text
        shown = sheet.text.replace(",", "").replace("\N{NARROW NO-BREAK SPACE}", "").replace("\N{NO-BREAK SPACE}", "")
        for price_break in prices(upgraded, number):
            assert price_break["unit_price"] in shown


def test_every_quote_of_before_is_explained_by_its_own_figures(upgraded: Upgraded) -> None:
    for number, address in places_of(upgraded)[1:2]:
        explanation = upgraded.shop.get(address.format("/explanation"))
        for explained, quoted in zip(explanation["breaks"], prices(upgraded, number), strict=True):
            figures = {figure["name"]: figure["value"] for figure in explained["figures"]}
            assert (figures["unit_price"], figures["total_price"]) == (quoted["unit_price"], quoted["total_price"])


def test_the_feed_and_the_list_have_every_quote_of_before(upgraded: Upgraded) -> None:
    feed = {item["number"]: item for item in upgraded.shop.get("/v1/estimates?limit=100", role="erp")["items"]}
    for number in upgraded.ready:
        estimate = upgraded.shop.get(f"/v1/estimates/{number.replace('Q', 'E', 1)}", role="erp")
        assert feed[estimate["number"]]["quote_number"] == estimate["quote_number"]
        assert [q["total_price"] for q in estimate["quantities"]] == [q["total_price"] for q in prices(upgraded, number)]
        for found in estimate["quantities"]:
            costs = sum(Decimal(one["cost"]) for one in found["operations"])
            quoted = sum(Decimal(one["amount"]) for one in found["lines"] if one["kind"] == "operations")
            assert quoted - costs == Decimal(found["operations_difference"])
            assert bool(found.get("remarks")) == (Decimal(found["operations_difference"]) != 0)
    listed = {item["number"] for item in upgraded.shop.get("/v1/quotes?limit=100")["items"]}
    assert listed >= {number.partition(".")[0] for number in upgraded.outcomes}


def test_the_demo_is_quoted_under_the_next_number(upgraded: Upgraded) -> None:
    demo = json.loads(DEMO.read_text(encoding="utf-8"))
    number = upgraded.shop.quoted({**demo, "quantities": [5]})
    assert upgraded.shop.get(f"/v1/quotes/{number}")["status"] == "ready"
    codes = {finding["code"] for finding in upgraded.shop.get(f"/v1/quotes/{number}")["findings"]}
    assert ("rates-of-a-release" in codes) == (upgraded.state not in COMPLETE)
    before = max(int(old.partition(".")[0].rpartition("-")[2]) for old in upgraded.outcomes)
    assert int(number.rpartition("-")[2]) > before


def test_a_quote_of_before_is_requoted_at_todays_rates(upgraded: Upgraded) -> None:
    first = upgraded.ready[-1].partition(".")[0]
    before = upgraded.shop.get(f"/v1/quotes/{first}")
    asked = upgraded.shop.ask("POST", f"/v1/quotes/{first}/requote")
    assert asked.status_code == 202, asked.text
    upgraded.shop.work()
    requoted = upgraded.shop.get(f"/v1/quotes/{first}")
    assert (requoted["status"], requoted["revision"]) == ("ready", before["revision"] + 1)
    compared = upgraded.shop.get(f"/v1/quotes/{first}/compare?with={before['revision']}")
    assert [one["unit_price"]["old"] for one in compared["breaks"]] == [one["unit_price"] for one in before["breaks"]]


@pytest.mark.parametrize("upgraded", ["first-quotes"], indirect=True)  # the oldest state stands for all
def test_a_failed_quote_of_before_is_started_again(upgraded: Upgraded) -> None:
    failed = next(number for number, outcome in upgraded.outcomes.items() if outcome.status == "failed")
    asked = upgraded.shop.ask("POST", f"/v1/quotes/{failed}/requote")
    assert asked.status_code == 202, asked.text
    upgraded.shop.work()
    assert upgraded.shop.get(f"/v1/quotes/{failed}")["status"] == "ready"


def prices(upgraded: Upgraded, number: str) -> list[dict[str, Any]]:
    """The breaks of a quote as they were."""
    body = upgraded.outcomes[number].body
    assert body is not None
    breaks: list[dict[str, Any]] = json.loads(body)["breaks"]
    return breaks


def test_orders_of_before_stay_accepted(upgraded: Upgraded) -> None:
    with upgraded.database.transaction() as connection:
        decided = set(connection.execute(text("select number from quoting.decisions where at < :now"), {"now": NOW}).scalars())
    for number in decided:
        quote, _, revision = number.partition(".")
        shown = upgraded.shop.get(f"/v1/quotes/{quote}?revision={revision or 1}")
        assert (shown["state"], shown["decision"]["by"]) == ("accepted", "M. Vinter")


def test_an_offer_of_before_is_accepted_at_its_price(upgraded: Upgraded) -> None:
    number = next(number for number in reversed(upgraded.ready) if "." not in number)
    quoted, agreed = prices(upgraded, number)[0], {"decision": "accepted", "by": "M. Vinter", "revision": 1}
    asked = upgraded.shop.ask("POST", f"/v1/quotes/{number}/decision", json={**agreed, "quantity": quoted["quantity"]})
    assert asked.status_code in (200, 201), asked.text
    assert asked.json()["promised"]["quoted_ship_date"] == quoted["lead_time"]["ship_date"]
