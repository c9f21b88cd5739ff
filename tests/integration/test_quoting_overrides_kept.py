"""Five overrides through two requotes, one of them at other rates: they stay, and where what was worked out has moved somebody is asked."""

from __future__ import annotations

from typing import Any

import pytest

from services.chassis.database import Database
from shared_schemas.rates import Rates
from tests.integration.test_quoting_life_routes import Shop, dearer, request_of_two

__all__ = ["request_of_two"]

PRICE = "/prices/25/unit_price"
WHY = {"reason": "the last lot showed it"}


@pytest.fixture
def shop(database: Database, rates: Rates) -> Shop:
    return Shop(database, rates)


def five_of(sheet: dict[str, Any]) -> list[dict[str, Any]]:
    """Minutes, a yield, pieces started, an operation more and a price, by what the worksheet of the quote has."""
    lines = {line["operation"]: line for part in sheet["parts"] for line in part["operations"]}
    polish, centre = lines["polish"], lines["centre"]
    starts = sheet["quantities"][0]["starts"][0]["started"]
    leak_test = {"work_centre": polish["work_centre"], "after": centre["id"], "setup_min": 10.0, "piece_min": 1.5}
    return [
        {"pointer": polish["batch_min"]["pointer"], "value": round(polish["batch_min"]["value"] * 1.2, 2), **WHY},
        {"pointer": centre["yield"]["pointer"], "value": 0.9, **WHY},
        {"pointer": starts["pointer"], "value": starts["value"] + 4, **WHY},
        {"pointer": "/operations/L1+leak test", "value": leak_test, **WHY},
        {"pointer": PRICE, "value": f"{round(float(sheet['quantities'][0]['unit_price']['value']) * 1.05)}.00", **WHY},
    ]


def revised(shop: Shop, number: str, method: str, below: str, body: dict[str, Any], *, role: str = "sales") -> dict[str, Any]:
    """The worksheet of the revision that a request makes."""
    answer = shop.ask(method, f"/v1/quotes/{number}/{below}", role=role, json=body)
    assert answer.status_code == 202, answer.text
    shop.work()
    sheet: dict[str, Any] = shop.get(f"/v1/quotes/{number}/worksheet")
    return sheet


def test_five_overrides_stay_through_two_requotes_and_the_one_whose_base_moved_is_asked_about(
    shop: Shop, request_of_two: dict[str, Any], rates: Rates
) -> None:
    number = shop.quoted({**request_of_two, "quantities": [25]})
    before = shop.get(f"/v1/quotes/{number}/worksheet")
    wanted = five_of(before)
    price = wanted[-1]["value"]
    second = revised(shop, number, "PATCH", "worksheet", {"author": "Ines Holm", "set": wanted}, role="engineer")
    assert {one["pointer"]: one["value"] for one in second["overrides"]} == {one["pointer"]: one["value"] for one in wanted}
    assert not any(one.get("moved") for one in second["overrides"])
    assert second["quantities"][0]["unit_price"]["value"] == price
    extra = next(line for part in second["parts"] for line in part["operations"] if "extra" in line)
    assert (extra["method"], extra["piece_min"], extra["extra"]["override"]["author"]) == (
        "leak test",
        {"value": 1.5, "unit": "min"},
        "Ines Holm",
    )
    started = second["quantities"][0]["starts"][0]["started"]
    assert (started["value"], started["override"]["base"]) == (wanted[2]["value"], started["override"]["base_now"])

    # At the same rates nothing has moved, whoever asks.
    third = revised(shop, number, "POST", "requote", {"changes": {"customer": "Tarn & Fell Ltd"}})
    assert (third["revision"], third["overrides"]) == (3, second["overrides"])
    assert third["quantities"] == second["quantities"]
    assert shop.ask("GET", f"/v1/quotes/{number}/sheet").status_code == 200

    # At dearer rates another price would be worked out in the place of the one that was set.
    shop.book.publish(dearer(rates))
    fourth = revised(shop, number, "POST", "requote", {})
    assert (fourth["revision"], fourth["rate_revision"]) == (4, 2)
    assert [one["pointer"] for one in fourth["overrides"] if one.get("moved")] == [PRICE]
    moved = next(one for one in fourth["overrides"] if one["pointer"] == PRICE)
    assert (moved["value"], moved["base"]) == (
        price,
        next(one for one in second["overrides"] if one["pointer"] == PRICE)["base"],
    )
    assert float(moved["base_now"]) > float(moved["base"])
    order = {"decision": "accepted", "quantity": 25, "by": "Tarn & Fell"}
    refused = shop.ask("POST", f"/v1/quotes/{number}/decision", json=order)
    assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (409, "/overrides/4")
    assert "confirm or withdraw" in refused.json()["errors"][0]["remedy"]
    assert shop.ask("GET", f"/v1/quotes/{number}/sheet").status_code == 409

    # It is kept on purpose; so low a margin needs somebody else.
    fifth = revised(shop, number, "PATCH", "worksheet", {"author": "Ines Holm", "confirm": [PRICE]}, role="engineer")
    assert (fifth["revision"], fifth["rate_revision"]) == (5, 2)
    assert not any(one.get("moved") for one in fifth["overrides"])
    assert fifth["quantities"][0]["unit_price"]["value"] == price
    assert fifth["approvals"]["state"] == "needed"
    refused = shop.ask("POST", f"/v1/quotes/{number}/decision", json=order)
    assert (refused.status_code, refused.json()["errors"][0]["limit"]) == (409, 0.15)
    approval = {"by": "Olof Berg", "note": "a good customer"}
    assert shop.ask("POST", f"/v1/quotes/{number}/approvals", role="engineer", json=approval).status_code == 409
    assert shop.ask("POST", f"/v1/quotes/{number}/approvals", role="admin", json=approval).status_code == 200
    assert shop.ask("POST", f"/v1/quotes/{number}/decision", json=order).status_code == 200
