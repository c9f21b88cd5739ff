"""How the figures of a rate row were come by."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from services.rates.domain.seed import seed_rates
from shared_schemas.rate_row import RateRow
from shared_schemas.rates import TABLES

SAID = {"name": "a", "as_of": "2026-11-02"}


@pytest.mark.parametrize(
    ("source", "origin"),
    [("invented demo figure", "invented"), ("Invented, as no saw was bought", "invented"), ("time study of October", "estimated")],
)
def test_a_row_without_an_origin_is_invented_where_its_source_says_so(source: str, origin: str) -> None:
    assert RateRow.model_validate({**SAID, "source": source}).origin == origin


def test_an_origin_that_is_said_stands_whatever_the_source_says() -> None:
    assert RateRow.model_validate({**SAID, "source": "once invented, timed since", "origin": "measured"}).origin == "measured"


def test_what_a_supplier_quoted_names_its_document() -> None:
    with pytest.raises(ValidationError, match="names its document"):
        RateRow.model_validate({**SAID, "source": "the tool maker", "origin": "supplier"})
    row = RateRow.model_validate({**SAID, "source": "the tool maker", "origin": "supplier", "document": "4711 of 2026-10-05"})
    assert row.document == "4711 of 2026-10-05"


def test_no_delivered_row_calls_itself_measured_or_quoted() -> None:
    rates = seed_rates()
    rows = [row for table in TABLES for row in getattr(rates, table)]
    assert {row.origin for row in rows} == {"invented", "published", "estimated"}
    assert all((row.origin == "invented") == ("invented" in row.source.lower()) for row in rows)
