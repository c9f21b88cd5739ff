"""Learning curves against published values."""

from __future__ import annotations

import pytest

from services.quoting.costs.learning import crawford_total, learning_exponent, wright_total


def test_at_eighty_per_cent_the_second_unit_takes_sixty_and_four_average_sixty_four() -> None:
    # M. Wideman, appendix on the cumulative average curve, http://www.maxwideman.com/papers/resource/appendix2.htm
    two, four = (wright_total(first_min=100.0, learning_rate=0.8, number=number) for number in (2, 4))
    assert two / 2 == pytest.approx(80)
    assert two - 100 == pytest.approx(60)
    assert four / 4 == pytest.approx(64)


def test_twenty_units_at_eighty_per_cent_and_how_far_the_integral_is_off() -> None:
    # "Chapter 19" of a cost estimating course, scribd document 535064047: the integral is 0.258 % off; sums computed independently.
    exact = crawford_total(first_min=10.0, learning_rate=0.8, number=20)
    power = 1 + learning_exponent(0.8)
    integral = 10 * (20.5**power - 0.5**power) / power
    assert exact == pytest.approx(104.849, abs=1e-3)
    assert integral == pytest.approx(105.120, abs=1e-3)
    assert integral / exact - 1 == pytest.approx(0.00258, abs=1e-5)


@pytest.mark.parametrize(
    ("rate", "number", "crawford", "wright"),
    [(0.9, 10, 7.9945, 7.0469), (0.9, 100, 58.141, 49.659), (0.8, 10, 6.3154, 4.7651)],
)
def test_the_two_laws_differ_and_both_are_known(rate: float, number: int, crawford: float, wright: float) -> None:
    # Computed independently.
    assert crawford_total(first_min=1.0, learning_rate=rate, number=number) == pytest.approx(crawford, rel=1e-4)
    assert wright_total(first_min=1.0, learning_rate=rate, number=number) == pytest.approx(wright, rel=1e-4)


@pytest.mark.parametrize(("rate", "exponent"), [(0.8, -0.32193), (0.9, -0.15200)])
def test_exponents_of_common_rates(rate: float, exponent: float) -> None:
    # Computed independently: log2 of the rate.
    assert learning_exponent(rate) == pytest.approx(exponent, abs=5e-6)
