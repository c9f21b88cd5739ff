"""The figures of the twelve kept lenses are those the chain gives now."""

from __future__ import annotations

import json

import pytest

from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates
from tests.laws.golden import KEPT, differences, figures_of, lenses

WRITE_ANEW = "where a cured fault is the cause, `python -m tests.laws.golden --write` keeps the new figures"


def test_the_kept_lenses_are_those_that_are_quoted() -> None:
    assert set(json.loads(KEPT.read_text(encoding="utf-8"))) == set(lenses())


@pytest.mark.parametrize(("name", "request_"), lenses().items(), ids=lenses())
def test_no_kept_figure_has_moved(name: str, request_: QuoteRequest, rates: Rates) -> None:
    kept = json.loads(KEPT.read_text(encoding="utf-8"))[name]
    moved = differences(kept, json.loads(json.dumps(figures_of(request_, rates))))
    assert not moved, "\n".join([*moved, WRITE_ANEW])


def test_a_figure_that_moves_is_named_with_both_values() -> None:
    kept, now = (
        {"breaks": {"5": {"unit_price": "10.00"}}, "blanks": {}},
        {"breaks": {"5": {"unit_price": "10.50"}}, "blanks": {"L1": "rod"}},
    )
    assert differences(kept, now) == ["/breaks/5/unit_price: 10.00 -> 10.50", "/blanks/L1: None -> rod"]
