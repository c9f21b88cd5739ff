"""Learning curves against published values."""

from __future__ import annotations

import pytest

from services.quoting.costs.learning import Learning, learning_exponent


def test_twenty_units_at_eighty_per_cent_and_how_far_the_integral_is_off() -> None:
    # "Chapter 19" of a cost estimating course, scribd document 535064047: the integral is 0.258 % off; sums computed independently.
    exact = 10 * Learning(0.8, 20).total(20)
    power = 1 + learning_exponent(0.8)
    integral = 10 * (20.5**power - 0.5**power) / power
    assert exact == pytest.approx(104.849, abs=1e-3)
    assert integral == pytest.approx(105.120, abs=1e-3)
    assert integral / exact - 1 == pytest.approx(0.00258, abs=1e-5)


@pytest.mark.parametrize(("rate", "number", "times"), [(0.9, 10, 7.9945), (0.9, 100, 58.141), (0.8, 10, 6.3154)])
def test_the_times_of_the_first_units_together_are_known(rate: float, number: int, times: float) -> None:
    # Computed independently.
    assert Learning(rate, number).total(number) == pytest.approx(times, rel=1e-4)


@pytest.mark.parametrize(("rate", "exponent"), [(0.8, -0.32193), (0.9, -0.15200)])
def test_exponents_of_common_rates(rate: float, exponent: float) -> None:
    # Computed independently: log2 of the rate.
    assert learning_exponent(rate) == pytest.approx(exponent, abs=5e-6)
