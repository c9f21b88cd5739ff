"""Open quotes of one glass buy together when they are asked to."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import httpx

Quoted = Callable[..., dict[str, Any]]


def test_two_quotes_of_one_glass_buy_together_and_pay_no_more(sales: httpx.Client, quoted: Quoted) -> None:
    (demo,) = (Path(__file__).resolve().parents[2] / "services" / "desk" / "demo").glob("lake_*.json")
    request = json.loads(demo.read_text(encoding="utf-8")) | {"quantities": [5]}
    quotes = [quoted(sales, copy.deepcopy(request)) for _ in range(2)]
    lenses = [
        {
            "name": quote["number"],
            "prescription": quote["prescription"],
            "check": quote["check"],
            "blanks": {element["name"]: quote["breaks"][0]["start_quantities"][element["name"]] for element in quote["elements"]},
        }
        for quote in quotes
    ]
    answer = sales.post("/v1/blanks/buy-together", json={"lenses": lenses})
    assert answer.status_code == 200, answer.text
    found = answer.json()
    assert 0 < Decimal(found["cost"]) < Decimal(found["cost_apart"])
    for glass in found["glasses"]:
        assert sum(Decimal(share) for share in glass["shares"].values()) == Decimal(glass["cost"])

    lenses[1]["blanks"] = {"L77": 3}
    refused = sales.post("/v1/blanks/buy-together", json={"lenses": lenses})
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["pointer"] == "/lenses/1/blanks"
