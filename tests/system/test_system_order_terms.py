"""An order as customers place it, through the running box: spare parts, split delivery, supplied glass and certificates in one quote."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import httpx

from tests.system.asking import ask, finished

PLACED = {
    "quantities": [25],
    "reference": "RFQ 7-2231",
    "contact": "R. Lindqvist",
    "spares": [{"part": "L3", "pieces": 5}, {"part": "L1+L2", "pieces": 2}],
    "deliveries": [{"quantity": 10}, {"quantity": 15}],
    "supplied": [{"what": "glass", "element": "L3", "mass_kg": 4.0}],
    "own_operations": ["measuring report", "certificate of conformity", "material certificate", "special packing"],
}


def test_an_order_with_all_that_goes_with_it_is_quoted(sales: httpx.Client, demo: dict[str, Any]) -> None:
    quote = finished(sales, ask(sales, demo | PLACED), within_s=60)
    assert quote["status"] == "ready", quote["problem"]
    (price_break,) = quote["breaks"]
    lines = {line["kind"]: Decimal(line["amount"]) for line in price_break["lines"]}
    beside = sum(Decimal(one["amount"]) for one in price_break["spare_parts"]) + lines["deliveries"]
    total = Decimal(price_break["total_price"])
    assert total == 25 * Decimal(price_break["unit_price"]) + beside == sum(lines.values())
    assert [one["part"] for one in price_break["spare_parts"]] == ["L3", "L1+L2"]
    assert [one["quantity"] for one in price_break["deliveries"]] == [10, 15]
    done = {one["method"] for part in (*quote["elements"], *quote["assembly"]) for one in part["operations"]}
    assert set(PLACED["own_operations"]) <= done
    codes = [one["code"] for one in quote["findings"]]
    assert "supplied-material-lost" in codes
    assert "supplied-material-short" not in codes
    assert "RFQ 7-2231" in sales.get(f"/v1/quotes/{quote['number']}/sheet").text
