"""Pages for a terminal at 60, 80 and 120 columns: no line is wider, and no amount, day or number of a quote is broken over two lines."""

from __future__ import annotations

import io
import re
from decimal import Decimal
from typing import Any

import pytest
from rich.console import Console

from services.desk.texts.quote import quote_page
from shared_schemas.quote import Quote
from shared_schemas.rates import Rates
from tests.chain import alike_doublets, demo, quote_of

WIDTHS = (60, 80, 120)
SCALE = Decimal(12_345)
"""Times this, amounts are those of a large order in a small currency."""


def printed(page: Any, width: int) -> list[str]:
    """The lines of a page at that width."""
    out = io.StringIO()
    Console(file=out, width=width, highlight=False, markup=False, emoji=False).print(page)
    return [line.rstrip() for line in out.getvalue().splitlines()]


def dearer(found: Any) -> Any:
    """The same document with every amount so much larger."""
    if isinstance(found, dict):
        return {name: dearer(inner) for name, inner in found.items()}
    if isinstance(found, (list, tuple)):
        return type(found)(dearer(inner) for inner in found)
    return (found * SCALE).quantize(Decimal("0.01")) if isinstance(found, Decimal) else found


@pytest.fixture(scope="module")
def quotes(rates: Rates, ready_quote: Quote) -> list[Quote]:
    bodies = [quote_of(demo(), rates), quote_of(alike_doublets(7, (1, 5, 25, 100, 1000, 100_000)), rates)]
    head = ready_quote.model_dump(by_alias=True)
    return [Quote.model_validate({**head, **dearer(body.model_dump(by_alias=True))}) for body in bodies]


@pytest.mark.parametrize("width", WIDTHS)
def test_a_quote_with_large_amounts_keeps_them_whole(quotes: list[Quote], width: int) -> None:
    for quote in quotes:
        lines = printed(quote_page(quote), width)
        assert max(map(len, lines)) <= width
        for one in quote.breaks or ():
            for whole in (
                f"{one.unit_price:,}",
                f"{one.total_price:,}",
                str(one.lead_time.ship_date),
                *(f"{line.amount:,}" for line in one.lines),
            ):
                assert any(re.search(rf"(?<![\d,.]){re.escape(whole)}(?![\d])", line) for line in lines), whole
