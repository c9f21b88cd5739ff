"""A second key through the routes, on a real PostgreSQL: who may give it, what waits for it, and that it stays."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from services.chassis.database import Database
from services.chassis.keys import Keys
from shared_schemas.rates import Rates
from tests.integration.test_quoting_life_routes import NOON, Shop, request_of_two

__all__ = ["request_of_two"]

CLAUSE = {
    "pointer": "/terms/currency_clause",
    "value": "Prices hold within 2 % of the rate of today.",
    "reason": "as agreed by phone",
}


def strict(rates: Rates) -> Rates:
    """Rates whose floor no margin reaches."""
    terms = tuple(row.model_copy(update={"margin_floor_share": 0.5}) for row in rates.commercial)
    return rates.model_copy(update={"commercial": terms})


@pytest.fixture
def shop(database: Database, rates: Rates) -> Shop:
    return Shop(database, strict(rates))


@pytest.fixture
def number(shop: Shop, request_of_two: dict[str, Any]) -> str:
    """A quote that needs a second key, in its second revision."""
    number = shop.quoted({**request_of_two, "quantities": [5]})
    override(shop, number, role="sales")
    return number


def override(shop: Shop, number: str, *, role: str) -> None:
    """Set the clause on the worksheet."""
    answer = shop.ask("PATCH", f"/v1/quotes/{number}/worksheet", role=role, json={"author": "Ines Holm", "set": [CLAUSE]})
    assert answer.status_code == 202, answer.text
    shop.work()


def approve(shop: Shop, number: str, *, role: str = "engineer", **said: Any) -> tuple[int, dict[str, Any]]:
    answer = shop.ask("POST", f"/v1/quotes/{number}/approvals", role=role, json={"by": "Olof Berg", **said})
    return answer.status_code, answer.json()


def accepted(shop: Shop, number: str) -> tuple[int, dict[str, Any]]:
    answer = shop.ask("POST", f"/v1/quotes/{number}/decision", json={"decision": "accepted", "quantity": 5, "by": "Tarn & Fell"})
    return answer.status_code, answer.json()


def test_a_quote_below_the_floor_is_neither_accepted_nor_given_out_before_another_key_approved_it(shop: Shop, number: str) -> None:
    assert shop.get(f"/v1/quotes/{number}")["approval"] == "needed"
    status, problem = accepted(shop, number)
    assert status == 409
    assert "At 5 pieces the margin reached is 28." in problem["detail"]
    assert "below the floor of 50.0%" in problem["detail"]
    assert "sales, engineer or admin" in problem["detail"]
    assert [(one["limit"], one["pointer"]) for one in problem["errors"]] == [(0.5, "/breaks/0")]
    assert shop.ask("GET", f"/v1/quotes/{number}/sheet").status_code == 409
    assert shop.ask("GET", f"/v1/quotes/{number}/ubl/quotation").status_code == 409

    status, approval = approve(shop, number, note="a good customer")
    assert (status, approval["revision"], approval["by"]) == (200, 2, "Olof Berg")
    assert approve(shop, number, note="told again")[1] == approval
    assert shop.get(f"/v1/quotes/{number}")["approval"] == "given"
    assert shop.ask("GET", f"/v1/quotes/{number}/sheet").status_code == 200
    assert shop.ask("GET", f"/v1/quotes/{number}/ubl/quotation").status_code == 200
    assert accepted(shop, number)[0] == 200
    (entry,) = shop.get("/v1/audit?action=quote.approve", role="admin")["items"]
    assert (entry["subject"], entry["details"]["approved_by"]) == (f"{number}.2", "Olof Berg")


def test_whoever_asked_cannot_approve_nor_can_the_key_that_took_its_place_nor_anybody_in_the_name_of_an_author(
    shop: Shop, number: str
) -> None:
    status, problem = approve(shop, number, role="sales")
    assert status == 409
    assert "asked for it" in problem["detail"]
    shop.keys["sales"] = Keys(shop.bench.database).rotate(shop.keys["sales"].split("_")[1], overlap_h=0, now=datetime.now(UTC))
    assert "asked for it" in approve(shop, number, role="sales")[1]["detail"]
    status, problem = approve(shop, number, by="ines  HOLM")
    assert (status, problem["errors"][0]["pointer"]) == (409, "/by")
    assert approve(shop, number, role="admin")[0] == 200
    status, problem = approve(shop, number)
    assert status == 409
    assert "was approved by Olof Berg on 2026-11-02" in problem["detail"]


def test_whoever_set_a_figure_cannot_approve_a_later_revision_that_another_asked_for(
    shop: Shop, request_of_two: dict[str, Any]
) -> None:
    number = shop.quoted({**request_of_two, "quantities": [5]})
    override(shop, number, role="engineer")
    assert shop.ask("POST", f"/v1/quotes/{number}/requote").status_code == 202
    shop.work()
    assert "set one of its overrides" in approve(shop, number, role="engineer")[1]["detail"]
    assert "asked for it" in approve(shop, number, role="sales")[1]["detail"]
    assert approve(shop, number, role="admin")[1]["revision"] == 3
    worksheet = shop.get(f"/v1/quotes/{number}/worksheet")
    assert worksheet["approvals"]["state"] == "given"
    assert [one["quantity"] for one in worksheet["approvals"]["needed_for"]] == [5]
    assert [(one["revision"], one["by"]) for one in worksheet["approvals"]["given"]] == [(3, "Olof Berg")]


def test_a_quote_that_needs_no_second_key_says_nothing_of_one_and_takes_none(shop: Shop, request_of_two: dict[str, Any]) -> None:
    number = shop.quoted(request_of_two)
    assert "approval" not in shop.get(f"/v1/quotes/{number}")
    status, problem = approve(shop, number)
    assert status == 409
    assert "needs no approval" in problem["detail"]
    assert approve(shop, number, revision=7)[0] == 404
    assert accepted(shop, number)[0] == 200


def test_a_quote_below_the_floor_may_be_declined(shop: Shop, number: str) -> None:
    assert shop.ask("POST", f"/v1/quotes/{number}/decision", json={"decision": "declined", "by": "Tarn & Fell"}).status_code == 200


def test_an_approval_is_never_changed_and_goes_into_an_archive(shop: Shop, number: str) -> None:
    approve(shop, number, note="a good customer")
    for statement in ("update quoting.approvals set approved_by = 'another'", "delete from quoting.approvals"):
        with pytest.raises(DBAPIError, match="never changed"), shop.bench.database.transaction() as connection:
            connection.execute(text(statement))
    shop.ask("POST", f"/v1/quotes/{number}/decision", json={"decision": "declined", "by": "Tarn & Fell"})
    shop.now = NOON.replace(year=2027)
    (item,) = shop.get("/v1/archive?before=2026-12-24", role="admin")["items"]
    assert item["revisions"][1]["approval"]["note"] == "a good customer"
