"""Cents that are dealt out so that they add up: no line is a whole cent off."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.quoting.costs.money import apportioned, rounded


@pytest.mark.parametrize(
    ("amounts", "minor_units", "shares"),
    [
        (("1.004", "1.004", "1.004"), 2, ("1.01", "1.00", "1.00")),  # 3.012 is 3.01: one cent is left, of equal rests to the first
        (("0.333", "0.333", "0.334"), 2, ("0.33", "0.33", "0.34")),
        (("10.5", "10.5"), 0, ("11", "10")),
        ((), 2, ()),
    ],
)
def test_the_units_that_are_left_go_to_the_largest_remainders(
    amounts: tuple[str, ...], minor_units: int, shares: tuple[str, ...]
) -> None:
    assert apportioned([Decimal(one) for one in amounts], minor_units=minor_units) == tuple(Decimal(one) for one in shares)


@given(st.lists(st.decimals(0, 100_000, places=9), max_size=200), st.sampled_from([0, 2, 3]))
def test_shares_add_up_to_the_rounded_sum_and_none_is_a_unit_off(amounts: list[Decimal], minor_units: int) -> None:
    shares = apportioned(amounts, minor_units=minor_units)
    assert sum(shares, Decimal(0)) == rounded(sum(amounts, Decimal(0)), minor_units=minor_units)
    assert all(abs(share - amount) < Decimal(1).scaleb(-minor_units) for share, amount in zip(shares, amounts, strict=True))
