"""Learning: the laws agree where they must, and a rate that is none is refused."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.quoting.domain.learning import crawford_total, learning_exponent, wright_total
from services.quoting.errors import FigureOutOfRange


@pytest.mark.parametrize("law", [wright_total, crawford_total])
def test_who_learns_nothing_takes_the_same_time_for_each(law: object) -> None:
    assert callable(law)
    assert law(first_min=7.0, learning_rate=1.0, number=12) == pytest.approx(84.0)


@given(rate=st.floats(0.5, 1), number=st.integers(1, 500))
@settings(max_examples=60, deadline=None)
def test_the_curve_of_averages_never_asks_for_more_than_the_curve_of_units(rate: float, number: int) -> None:
    wright = wright_total(first_min=1.0, learning_rate=rate, number=number)
    assert wright <= crawford_total(first_min=1.0, learning_rate=rate, number=number) * (1 + 1e-9)


@pytest.mark.parametrize("rate", [0.0, -0.1, 1.01])
def test_a_rate_that_is_no_share_is_an_error(rate: float) -> None:
    with pytest.raises(FigureOutOfRange, match="learning rate"):
        learning_exponent(rate)
