"""What the rows of the rates may not do to a quote: hang on their order, or on a slip of the pen that nobody sees."""

from __future__ import annotations

import random

import pytest

from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import TABLES, Rates
from tests.chain import demo, quote_of, request_of, singlet

SEEDS = range(20)


def shuffled(rates: Rates, seed: int) -> Rates:
    """The same rates, the rows of every table in another order."""
    draw = random.Random(seed)
    tables = {table: list(getattr(rates, table)) for table in TABLES}
    for rows in tables.values():
        draw.shuffle(rows)
    return rates.model_copy(update={table: tuple(rows) for table, rows in tables.items()})


@pytest.fixture(scope="module")
def asked() -> dict[str, QuoteRequest]:
    return {"demo": demo().model_copy(update={"quantities": (5,)}), "singlet": request_of(singlet(coating="ar-broadband"), (25,))}


@pytest.fixture(scope="module")
def as_listed(asked: dict[str, QuoteRequest], rates: Rates) -> dict[str, str]:
    return {name: quote_of(request, rates).model_dump_json() for name, request in asked.items()}


@pytest.mark.parametrize("seed", SEEDS)
def test_rows_in_any_order_give_the_same_bytes(
    seed: int, asked: dict[str, QuoteRequest], as_listed: dict[str, str], rates: Rates
) -> None:
    name = "singlet" if seed % 5 else "demo"
    assert quote_of(asked[name], shuffled(rates, seed)).model_dump_json() == as_listed[name]
