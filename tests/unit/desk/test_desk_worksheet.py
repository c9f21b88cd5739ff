"""The estimator's commands: what is sent, what is printed within 80 columns, what is refused before it is sent."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import httpx
import pytest
from typer.testing import CliRunner

from services.desk.command import app
from services.desk.texts.wording import as_called
from services.desk.texts.worksheet import worksheet_lines
from shared_schemas.worksheet import Worksheet

ANY_SERVER = ["--url", "http://desk.test", "--key", "k"]
SET = {
    "base": 8.25,
    "base_now": 9.5,
    "author": "Ines Holm",
    "reason": "the last lot showed it",
    "at": "2026-11-02T12:00:00Z",
    "moved": True,
}


def figure(pointer: str, value: Any, unit: str = "", **more: Any) -> dict[str, Any]:
    return {"pointer": pointer, "value": value, "unit": unit, **more}


def sheet(**changes: Any) -> dict[str, Any]:
    polish = "/operations/L1-polish-back"
    override = {"pointer": f"{polish}/piece_min", "value": 12.5, **SET}
    values: dict[str, Any] = {
        "number": "Q-2026-000007", "revision": 2, "title": "one element", "customer": "Tarn & Fell", "customer_class": "standard", "currency": "USD",
        "rate_revision": 3, "quoted_on": "2026-11-02", "overrides": [override], "bought_parts": [],
        "parts": [{"name": "L1", "kind": "element", "operations": [{
            "id": "L1-polish-back", "operation": "polish", "face": "back", "work_centre": "polisher", "batch_size": 12,
            "setup_min": figure(f"{polish}/setup_min", 25.0), "batch_min": figure(f"{polish}/batch_min", 83.178),
            "piece_min": figure(f"{polish}/piece_min", 12.5, override=override), "yield": figure(f"{polish}/yield", 0.965),
            "batch_loss": figure(f"{polish}/batch_loss", 0.0), "lot_charge": figure(f"{polish}/lot_charge", "0.00"),
            "at": [{"quantity": 25, "pieces": 39, "batches": 4, "machine_min": 845.25, "attended_min": 400.0, "cost": "1034.47"}],
        }]}],
        "blanks": [{"element": "L1", "glass": "N-BK7", "form": "slab", "diameter_mm": 27.0, "thickness_mm": 8.0, "price": figure("/blanks/L1/price", "5.66")}],
        "tools": [{"name": "a tool of a name that is so long that no line of eighty has room for it and its charge", "part": "L1",
                   "charge": figure("/tooling/x/charge", "520.00")}],
        "quantities": [{
            "quantity": 25, "starts": [{"part": "L1", "needed": 25, "started": figure("/starts/L1/25", 39), "losses_expected": 6.04}],
            "lines": [{"name": "Operations", "kind": "operations", "amount": "1034.47"}], "unit_cost": "41.38", "total_price": "1034.47",
            "unit_price": figure("/prices/25/unit_price", "41.50"), "margin_share": figure("/prices/25/margin_share", 0.28),
            "discount_share": figure("/prices/25/discount_share", 0.05), "margin_reached_share": 0.031, "loss_chance": 0.2,
        }],
        "terms": [figure("/terms/valid_days", 45), figure("/terms/currency_clause", "")],
        "approvals": {
            "state": "needed", "not_by_keys": ["a1b2"], "not_by_names": ["Ines Holm"],
            "needed_for": [{"quantity": 25, "what": "margin_reached_share", "figure": 0.031, "limit": 0.15, "message": "At 25 pieces the margin reached is 3.1%."}],
        },
    }  # fmt: skip
    return {**values, **changes}


def run(*arguments: str) -> Any:
    return CliRunner().invoke(app, [*arguments, *ANY_SERVER])


@pytest.fixture
def asked(reach: Callable[[httpx.BaseTransport], None]) -> list[tuple[str, str, Any]]:
    """What the client asks; a change is accepted and ready at once."""
    sent: list[tuple[str, str, Any]] = []

    def answered(request: httpx.Request) -> httpx.Response:
        sent.append((request.method, request.url.path, json.loads(request.content) if request.content else None))
        if request.method == "GET" and request.url.path.endswith("/worksheet"):
            return httpx.Response(200, json=sheet())
        accepted = {"number": "Q-2026-000007", "revision": 2, "status": "accepted", "links": {}}
        told = {"revision": 2, "by": "Olof Berg", "key_id": "c3", "at": "2026-11-02T12:00:00Z"}
        state = {
            "number": "Q-2026-000007", "revision": 2, "status": "ready", "attempt": 1, "created_at": "2026-11-02T12:00:00Z", "rate_revision": 3,
        }  # fmt: skip
        return httpx.Response(200, json={"PATCH": accepted, "POST": told, "GET": state}[request.method])

    reach(httpx.MockTransport(answered))
    return sent


def test_a_worksheet_is_printed_within_eighty_columns_with_what_was_set_by_whom_and_why() -> None:
    lines = worksheet_lines(Worksheet.model_validate_json(json.dumps(sheet())))
    page = "\n".join(lines)
    assert max(map(len, lines)) <= 80
    assert "* /operations/L1-polish-back/piece_min = 12.5, instead of 8.25: Ines Holm," in page
    assert "the base has moved to 9.5: --confirm or --withdraw" in page
    row = next(line for line in lines if line.startswith("polish-back"))
    assert row.split() == ["polish-back", "25", "83.18/12", "12.5*", "0.965", "845.2", "1,034.47"]
    for said in (
        "39 (6.0)",
        "margin reached",
        "3.1%",
        "20.0%",
        "Second key: needed",
        "not by the keys a1b2, nor in the name of Ines Holm",
        "520.00",
    ):
        assert said in page
    assert "Tools" not in "\n".join(worksheet_lines(Worksheet.model_validate_json(json.dumps(sheet())), part="L1"))


def test_amounts_of_a_large_order_stand_apart_from_what_is_beside_them() -> None:
    large = sheet()
    large["parts"][0]["operations"][0]["at"][0]["cost"] = "12345678.90"
    more = [
        json.loads(json.dumps({**large["quantities"][0], "quantity": quantity, "total_price": "12345678.90"}))
        for quantity in (25, 100, 1000)
    ]
    lines = worksheet_lines(Worksheet.model_validate_json(json.dumps({**large, "quantities": more})), quantity=25)
    assert max(map(len, lines)) <= 80
    assert next(line for line in lines if line.startswith("polish-back")).split()[-2:] == ["845.2", "12,345,678.90"]
    assert next(line for line in lines if line.startswith("total")).split() == ["total", *["12,345,678.90"] * 3]


def test_what_is_set_is_sent_with_amounts_as_text_and_numbers_as_numbers(asked: list[tuple[str, str, Any]]) -> None:
    done = run(
        "worksheet", "Q-2026-000007", "--set", "/operations/L1-polish-back/piece_min=12.5", "--set", "/prices/25/unit_price=299.00",
        "--set", "/terms/currency_clause=prices in USD = fixed", "--set", "/operations/L1-saw/left_out=true", "--withdraw", "/terms/valid_days",
        "--confirm", "/starts/L1/25", "--because", "the last lot showed it", "--by", "Ines Holm",
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    method, path, body = asked[0]
    assert (method, path) == ("PATCH", "/v1/quotes/Q-2026-000007/worksheet")
    assert [one["value"] for one in body["set"]] == [12.5, "299.00", "prices in USD = fixed", True]
    assert {one["reason"] for one in body["set"]} == {"the last lot showed it"}
    assert (body["author"], body["withdraw"], body["confirm"]) == ("Ines Holm", ["/terms/valid_days"], ["/starts/L1/25"])
    assert "its base has moved" in done.output
    assert asked[-1][:2] == ("GET", "/v1/quotes/Q-2026-000007/worksheet")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--set", "/terms/valid_days=30"], "--by"),
        (["--set", "/terms/valid_days=30", "--by", "Ines"], "--because"),
        (["--set", "valid_days=30", "--by", "Ines", "--because", "so"], "POINTER=VALUE"),
        (["--by", "Ines"], "nothing is changed"),
        (["--withdraw", "/terms/valid_days", "--by", "Ines", "--revision", "1"], "--revision"),
        (["--withdraw", "valid_days", "--by", "Ines"], "withdraw/0"),
    ],
)
def test_a_change_that_says_too_little_is_not_sent(arguments: list[str], said: str, asked: list[tuple[str, str, Any]]) -> None:
    done = run("worksheet", "Q-2026-000007", *arguments)
    assert done.exit_code == 2
    assert said in " ".join(done.output.split())
    assert asked == []


def test_an_approval_says_who_gave_it(asked: list[tuple[str, str, Any]]) -> None:
    done = run("approve", "Q-2026-000007", "--by", "Olof Berg", "--note", "a good customer")
    assert done.exit_code == 0, done.output
    assert asked == [
        ("POST", "/v1/quotes/Q-2026-000007/approvals", {"by": "Olof Berg", "note": "a good customer", "revision": None})
    ]
    assert "revision 2 of Q-2026-000007 is approved by Olof Berg" in done.output


def test_what_would_do_is_told_as_commands() -> None:
    said = as_called(
        "PATCH /v1/quotes/Q-2026-000007/worksheet with confirm, or POST /v1/quotes/Q-2026-000007/approvals", ["blankwright"]
    )
    assert said == "blankwright worksheet Q-2026-000007 with confirm, or blankwright approve Q-2026-000007"
