"""The worksheet of a quote through its routes, on a real PostgreSQL."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import httpx
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


def test_the_job_sheet_of_a_quote_is_a_page_or_a_file_and_says_where_there_is_none(shop: Shop, number: str) -> None:
    place = f"/v1/quotes/{number}/job-sheet"
    page = shop.ask("GET", place, role="engineer", headers={"Accept": "text/html"})
    assert page.status_code == 200, page.text
    assert page.headers["Content-Type"] == "text/html; charset=utf-8"
    assert "default-src 'none'" in page.headers["Content-Security-Policy"]
    assert page.headers["Cache-Control"] == "no-store"
    quote = shop.get(f"/v1/quotes/{number}")
    middle, other = (one["quantity"] for one in quote["breaks"])
    assert f"Routing, {middle} lenses" in page.text
    assert quote["digest"] in page.text
    pdf = shop.ask("GET", place, params={"quantity": other, "paper": "letter"}, headers={"Accept": "application/pdf"})
    assert pdf.headers["Content-Disposition"] == f'inline; filename="{number}-revision-1-job-{other}.pdf"'
    assert pdf.content.startswith(b"%PDF-1.7")
    assert shop.ask("GET", place, params={"quantity": 7}).status_code == 422
    assert shop.ask("GET", place, params={"revision": 9}).status_code == 404
    assert shop.ask("GET", place, role="erp").status_code == 403
    refused = shop.ask("GET", place, headers={"Accept": "image/png"})
    assert (refused.status_code, "application/pdf" in refused.json()["errors"][0]["limit"]) == (406, True)


def change(
    shop: Shop, number: str, *, role: str = "engineer", headers: dict[str, str] | None = None, **said: Any
) -> httpx.Response:
    answer = shop.ask("PATCH", f"/v1/quotes/{number}/worksheet", role=role, headers=headers, json={"author": "Ines Holm", **said})
    if answer.status_code == 202:
        shop.work()
    return answer


def setting(pointer: str, value: Any, reason: str = "the last lot showed it") -> dict[str, Any]:
    return {"pointer": pointer, "value": value, "reason": reason}


def faults(answer: httpx.Response) -> list[tuple[str, str, str]]:
    assert answer.status_code == 422, answer.text
    return [(one["pointer"], one["reason"], one["remedy"]) for one in answer.json()["errors"]]


def polish_of(sheet: dict[str, Any]) -> dict[str, Any]:
    return next(line for part in sheet["parts"] for line in part["operations"] if line["operation"] == "polish")


def test_a_change_makes_the_next_revision_at_the_same_rates_and_says_who_set_what_and_what_stood_there(
    shop: Shop, number: str, rates: Rates
) -> None:
    before = shop.get(f"/v1/quotes/{number}/worksheet")
    polish = polish_of(before)
    shop.book.publish(rates)
    key = {"Idempotency-Key": "one"}
    answer = change(
        shop, number, headers=key, set=[setting(polish["piece_min"]["pointer"], 12.5), setting("/prices/25/unit_price", "299.00")]
    )
    assert answer.headers["Location"] == f"/v1/quotes/{number}?revision=2"
    assert (
        change(
            shop,
            number,
            headers=key,
            set=[setting(polish["piece_min"]["pointer"], 12.5), setting("/prices/25/unit_price", "299.00")],
        ).json()
        == answer.json()
    )
    quote, sheet = shop.get(f"/v1/quotes/{number}"), shop.get(f"/v1/quotes/{number}/worksheet")
    assert (quote["revision"], quote["latest_revision"], quote["rate_revision"]) == (2, 2, 1)
    assert [one["unit_price"] for one in quote["breaks"]][1] == "299.00"
    figure = polish_of(sheet)["piece_min"]
    assert (figure["value"], figure["override"]["base"], figure["override"]["base_now"]) == (
        12.5,
        polish["piece_min"]["value"],
        polish["piece_min"]["value"],
    )
    said = {name: figure["override"][name] for name in ("author", "reason", "at", "key_id")}
    key_id = shop.keys["engineer"].split("_")[1]
    assert said == {"author": "Ines Holm", "reason": "the last lot showed it", "at": "2026-11-02T12:00:00Z", "key_id": key_id}
    assert [one["pointer"] for one in sheet["overrides"]] == [polish["piece_min"]["pointer"], "/prices/25/unit_price"]
    assert shop.get(f"/v1/quotes/{number}/worksheet?revision=1") == before


def test_a_figure_that_is_not_there_is_named_with_the_nearest_one(shop: Shop, number: str) -> None:
    answer = change(
        shop, number,
        set=[setting("/starts/L9/25", 30), setting("/prices/26/unit_price", "90.00"), setting("/weights/L1", 3),
             setting("/operations/L7+leak-test", {"work_centre": "clean bench"})],
    )  # fmt: skip
    named = {pointer: remedy for pointer, _, remedy in faults(answer)}
    assert set(named) == {"/set/0/pointer", "/set/1/pointer", "/set/2/pointer", "/set/3/pointer"}
    assert "L1" in named["/set/0/pointer"]
    assert "25" in named["/set/1/pointer"]
    after = {"work_centre": "clean bench", "after": "L1-polishing"}
    answer = change(
        shop, number, set=[setting("/operations/L1-polishing-front/piece_min", 3.0), setting("/operations/L1+leak-test", after)]
    )
    named = {pointer: remedy for pointer, _, remedy in faults(answer)}
    assert set(named) == {"/set/0/pointer", "/set/1/value"}
    assert "/operations/L1-polish-front" in named["/set/0/pointer"]


BAD_VALUES = (
    ("/prices/25/unit_price", 299.0, "decimal string"),
    ("/prices/5/unit_price", "0", "from 0.0001"),
    ("/starts/L1/25", "30", "whole number"),
    ("/starts/L1/5", True, "whole number"),
    ("/terms/valid_days", 400, "365"),
    ("/terms/tooling", "waived", "one_off or spread"),
    ("/terms/margin_share", 1.0, "below 1"),
)


def test_a_value_of_another_type_or_beyond_its_range_is_told_what_would_do(shop: Shop, number: str) -> None:
    told = faults(change(shop, number, set=[setting(pointer, value) for pointer, value, _ in BAD_VALUES]))
    assert list(dict.fromkeys(place for place, _, _ in told)) == [f"/set/{place}/value" for place in range(len(BAD_VALUES))]
    for pointer, _, limit in BAD_VALUES:
        assert [remedy for _, reason, remedy in told if pointer in reason and limit in remedy]


def test_what_has_no_effect_and_what_is_named_twice_is_refused(shop: Shop, number: str) -> None:
    sheet = shop.get(f"/v1/quotes/{number}/worksheet")
    polish = polish_of(sheet)
    left_out = f"/operations/{polish['id']}/left_out"
    twice = change(shop, number, set=[setting("/terms/valid_days", 30), setting("/terms/valid_days", 31)])
    assert faults(twice)[0][0] == "/set/1/pointer"
    assert faults(change(shop, number)) == [("", "nothing is changed", "name at least one pointer")]
    both = change(shop, number, set=[setting("/prices/5/unit_price", "400.00"), setting("/prices/5/discount_share", 0.1)])
    assert [place for place, _, _ in faults(both)] == ["/set/1/pointer"]
    gone = change(shop, number, set=[setting(left_out, True), setting(polish["piece_min"]["pointer"], 12.5)])
    assert "contradict each other" in faults(gone)[0][1]
    same = change(
        shop, number, set=[setting("/terms/valid_days", 45), setting(polish["piece_min"]["pointer"], polish["piece_min"]["value"])]
    )
    assert [reason.startswith("that is what stands at") for _, reason, _ in faults(same)] == [True, True]
    nothing = change(shop, number, withdraw=["/terms/valid_days"], confirm=["/terms/minimum_order"])
    assert [place for place, _, _ in faults(nothing)] == ["/withdraw/0", "/confirm/0"]


def test_a_figure_that_was_set_is_set_anew_kept_where_its_base_stayed_and_withdrawn(shop: Shop, number: str) -> None:
    change(shop, number, set=[setting("/terms/valid_days", 30)])
    again = change(shop, number, set=[setting("/terms/valid_days", 30, "another reason")])
    assert "withdraw it for the figure that is worked out" in faults(again)[0][2]
    back = change(shop, number, set=[setting("/terms/valid_days", 45)])
    assert faults(back)[0][2] == "withdraw /terms/valid_days"
    stayed = change(shop, number, confirm=["/terms/valid_days"])
    assert "it is kept" in faults(stayed)[0][2]
    assert change(shop, number, set=[setting("/terms/valid_days", 20)]).status_code == 202
    (override,) = shop.get(f"/v1/quotes/{number}/worksheet")["overrides"]
    assert (override["value"], override["base"]) == (20, 45)
    assert change(shop, number, withdraw=["/terms/valid_days"]).status_code == 202
    sheet = shop.get(f"/v1/quotes/{number}/worksheet")
    assert (sheet["revision"], sheet["overrides"]) == (4, [])
    assert next(one["value"] for one in sheet["terms"] if one["pointer"] == "/terms/valid_days") == 45


def test_a_worksheet_is_changed_neither_under_way_nor_behind_somebodys_back(shop: Shop, number: str) -> None:
    read = shop.ask("GET", f"/v1/quotes/{number}/worksheet").headers["ETag"]
    assert change(shop, number, headers={"If-Match": read}, set=[setting("/terms/valid_days", 30)]).status_code == 202
    late = change(shop, number, headers={"If-Match": read}, set=[setting("/terms/valid_days", 20)])
    assert (late.status_code, late.json()["type"].rpartition("#")[2]) == (412, "stale")
    body = {"author": "Ines Holm", "set": [setting("/terms/valid_days", 20)]}
    assert shop.ask("PATCH", f"/v1/quotes/{number}/worksheet", json=body).status_code == 202
    assert shop.ask("PATCH", f"/v1/quotes/{number}/worksheet", json=body).status_code == 409


def test_nobody_sets_a_figure_past_the_worksheet(shop: Shop, number: str, request_of_two: dict[str, Any]) -> None:
    change(shop, number, set=[setting("/terms/valid_days", 30)])
    forged = {"pointer": "/terms/valid_days", "value": 90, "author": "Somebody", "reason": "because", "at": "2026-11-02T12:00:00Z"}
    answers = [
        shop.ask("POST", "/v1/quotes", json={**request_of_two, "overrides": [forged]}),
        shop.ask("POST", "/v1/quote-batches", json={"requests": [{**request_of_two, "overrides": [forged]}]}),
        shop.ask("POST", f"/v1/quotes/{number}/requote", json={"changes": {"overrides": [forged]}}),
        shop.ask("POST", f"/v1/quotes/{number}/requote", json={"changes": {"overrides": None}}),
    ]
    assert [faults(answer)[0][0] for answer in answers] == [
        "/overrides",
        "/requests/0/overrides",
        "/changes/overrides",
        "/changes/overrides",
    ]
    assert change(shop, number, set=[setting("/prices/25/unit_price", "390.00")]).status_code == 202
    without = shop.ask("POST", f"/v1/quotes/{number}/requote", json={"changes": {"quantities": [5]}})
    ((pointer, reason, remedy),) = faults(without)
    assert (pointer, "/prices/25/unit_price is overridden" in reason) == ("/changes/overrides/1/pointer", True)
    assert "with withdraw /prices/25/unit_price" in remedy
