"""Start quantities, yields, queues and amortisation against published values and a general library."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import binom

from services.quoting.domain.queues import kingman_wait_h
from services.quoting.domain.start_quantity import chance_of_enough, start_quantity
from services.quoting.domain.starts import route_yield
from tests.unit.quoting.conftest import operation

# Computed independently with an exact binomial tail: wanted, yield, n at 90, 95 and 99 %.
START_TABLE = [
    (1, 0.80, 2, 2, 3),
    (5, 0.90, 7, 7, 8),
    (10, 0.90, 13, 13, 14),
    (10, 0.80, 15, 16, 18),
    (20, 0.90, 24, 25, 27),
    (50, 0.85, 63, 64, 67),
    (100, 0.90, 116, 117, 120),
    (100, 0.70, 153, 156, 162),
    (500, 0.90, 566, 569, 575),
]


@pytest.mark.parametrize(("wanted", "yield_share", "at_90", "at_95", "at_99"), START_TABLE)
def test_start_quantities_of_the_table(wanted: int, yield_share: float, at_90: int, at_95: int, at_99: int) -> None:
    found = [start_quantity(wanted=wanted, yield_share=yield_share, confidence=c) for c in (0.90, 0.95, 0.99)]
    assert found == [at_90, at_95, at_99]


@pytest.mark.parametrize(("started", "chance"), [(11, 0.6974), (12, 0.8891), (13, 0.9658), (14, 0.9908)])
def test_chances_of_ten_good_at_ninety_per_cent(started: int, chance: float) -> None:
    # Computed independently with an exact binomial tail.
    assert chance_of_enough(started=started, wanted=10, yield_share=0.9) == pytest.approx(chance, abs=5e-5)


def test_start_quantities_agree_with_scipy_on_three_hundred_random_cases() -> None:
    # General library: scipy.stats.binom, survival function P(X >= Q) = sf(Q - 1).
    rng = np.random.default_rng(7)
    for _ in range(300):
        wanted, share, confidence = int(rng.integers(1, 3000)), float(rng.uniform(0.2, 0.999)), float(rng.uniform(0.5, 0.999))
        n = start_quantity(wanted=wanted, yield_share=share, confidence=confidence)
        assert binom.sf(wanted - 1, n, share) >= confidence - 1e-12
        assert n == wanted or binom.sf(wanted - 1, n - 1, share) < confidence + 1e-12


def test_the_mean_rule_is_as_unsafe_as_it_is_said_to_be() -> None:
    # Computed independently: ceil(Q/y) gives 55 % at 100 of 0.70, 67 % at 100 of 0.90, 96 % at 1 of 0.80.
    for wanted, share, percent in [(100, 0.70, 55), (100, 0.90, 67), (1, 0.80, 96)]:
        n = math.ceil(round(wanted / share, 9))
        assert round(100 * chance_of_enough(started=n, wanted=wanted, yield_share=share)) == percent


@pytest.mark.parametrize(
    ("yields", "whole"),
    [((0.98, 0.97, 0.95, 0.99, 0.97, 0.98), 0.84987), ((0.95,) * 10, 0.59874)],
)
def test_a_chain_of_yields_is_their_product(yields: tuple[float, ...], whole: float) -> None:
    # Computed independently.
    assert route_yield([operation(**{"yield": share}) for share in yields]) == pytest.approx(whole, abs=1e-5)


def test_at_ninety_per_cent_the_wait_is_nine_jobs() -> None:
    # J. F. C. Kingman (1961), exponential arrivals and work (c_a = c_s = 1), from memory.
    assert kingman_wait_h(utilisation=0.9, squared_variation=1.0, mean_job_h=1.0) == pytest.approx(9.0)
