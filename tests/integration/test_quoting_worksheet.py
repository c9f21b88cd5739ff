"""The worksheet of a quote through its routes, on a real PostgreSQL."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from services.chassis.database import Database
from shared_schemas.rates import Rates
from tests.integration.test_quoting_life_routes import Shop, request_of_two

__all__ = ["request_of_two"]


@pytest.fixture
def shop(database: Database, rates: Rates) -> Shop:
    return Shop(database, rates)


@pytest.fixture
def number(shop: Shop, request_of_two: dict[str, Any]) -> str:
    return shop.quoted(request_of_two)


def test_a_worksheet_adds_up_to_the_quote_and_every_figure_has_its_pointer(shop: Shop, number: str) -> None:
    quote, sheet = shop.get(f"/v1/quotes/{number}"), shop.get(f"/v1/quotes/{number}/worksheet", role="engineer")
    assert (sheet["number"], sheet["revision"], sheet["currency"], sheet["rate_revision"]) == (number, 1, "USD", 1)
    for one, quantity in zip(quote["breaks"], sheet["quantities"], strict=True):
        costs = [
            at["cost"]
            for part in sheet["parts"]
            for line in part["operations"]
            for at in line["at"]
            if at["quantity"] == one["quantity"]
        ]
        (operations,) = [line["amount"] for line in quantity["lines"] if line["kind"] == "operations"]
        assert abs(sum(map(Decimal, costs)) - Decimal(operations)) <= Decimal("0.005") * len(costs)
        assert quantity["unit_price"] == {
            "pointer": f"/prices/{one['quantity']}/unit_price",
            "value": one["unit_price"],
            "unit": "USD",
        }
        assert {start["part"]: start["started"]["value"] for start in quantity["starts"]} == one["start_quantities"]
        assert quantity["margin_reached_share"] == pytest.approx(0.28, abs=0.01)
    polish = next(line for part in sheet["parts"] for line in part["operations"] if line["operation"] == "polish")
    assert polish["piece_min"] == {
        "pointer": f"/operations/{polish['id']}/piece_min",
        "value": polish["piece_min"]["value"],
        "unit": "min",
    }
    assert polish["yield"]["pointer"] == f"/operations/{polish['id']}/yield"
    assert {at["quantity"] for at in polish["at"]} <= {5, 25}
    assert {figure["pointer"] for figure in sheet["terms"]} >= {"/terms/valid_days", "/terms/discount_share"}
    assert sheet["blanks"][0]["price"]["pointer"] == "/blanks/L1/price"
    assert "needed_for" not in sheet["approvals"] or not sheet["approvals"]["needed_for"]


def test_a_worksheet_that_is_as_the_caller_has_it_is_not_sent_again(shop: Shop, number: str) -> None:
    first = shop.ask("GET", f"/v1/quotes/{number}/worksheet")
    again = shop.ask("GET", f"/v1/quotes/{number}/worksheet", headers={"If-None-Match": first.headers["ETag"]})
    assert (first.status_code, again.status_code, again.content) == (200, 304, b"")
    assert shop.ask("GET", f"/v1/quotes/{number}/worksheet?revision=2").status_code == 404
    assert shop.ask("GET", f"/v1/quotes/{number}/worksheet?revison=1").status_code == 422
