"""Start quantities, yields, queues and amortisation against published values and a general library."""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest
from scipy.stats import binom

from services.quoting.costs.cost import operation_costs
from services.quoting.pricing.starts import chance_of_enough, start_quantity
from services.quoting.promise.waits import erlang_wait_share, jobs_waiting, mean_wait_h, wait_of_those_h
from services.quoting.risk.losses import losses_of
from shared_schemas.operations import Route
from shared_schemas.rates import Rates
from tests.unit.quoting.conftest import centre, operation

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
    assert losses_of([operation(**{"yield": share}) for share in yields]).mean_yield == pytest.approx(whole, abs=1e-5)


def wait_in_jobs(*, utilisation: float, squared_variation: float = 1.0, stations: int = 1) -> float:
    """Mean wait, counted in jobs of mean length."""
    those = wait_of_those_h(utilisation=utilisation, stations=stations, mean_job_h=1.0, squared_variation=squared_variation)
    return mean_wait_h(
        waiting_share=erlang_wait_share(stations=stations, utilisation=utilisation), wait_of_those_h=those, unknown_share=1.0
    )


@pytest.mark.parametrize("squared_variation", [1.0, 0.5, 2.0])
def test_at_ninety_per_cent_the_wait_is_nine_jobs(squared_variation: float) -> None:
    # J. F. C. Kingman (1961): rho / (1 - rho) (c_a^2 + c_s^2) / 2, from memory; nine jobs where arrivals and work are exponential.
    found = wait_in_jobs(utilisation=0.9, squared_variation=squared_variation)
    assert found == pytest.approx(9.0 * squared_variation)


def test_forty_jobs_at_eight_a_week_are_five_weeks() -> None:
    # J. D. C. Little (1961), L = lambda W: 8 a week that stay 5 weeks are 40; arithmetic.
    assert jobs_waiting(wait_h=5.0, jobs_per_h=8.0) == 40.0


def test_two_stations_wait_as_the_exact_queue_says() -> None:
    # A. K. Erlang: M/M/2 at 80 % waits rho^2/(1 - rho^2) = 1.7778 jobs of work.
    assert wait_in_jobs(utilisation=0.8, stations=2) == pytest.approx(16 / 9)


@pytest.mark.parametrize(("quantity", "each"), [(1, "1245"), (10, "165"), (25, "93"), (100, "57"), (1000, "46.2")])
def test_a_set_up_of_1200_and_45_apiece_spread_over_the_quantity(quantity: int, each: str) -> None:
    # Computed independently: c(Q) = S/Q + V with S 1200, V 45.
    setup_and_piece = operation(setup_min=1200.0, batch_size=1, batch_min=45.0, attended_share=0.0, consumables=Decimal(0))
    rates = Rates.model_construct(
        **dict.fromkeys(Rates.model_fields, ())
        | {"work_centres": (centre(machine_rate_per_h=Decimal(60), labour_rate_per_h=Decimal(0)),)}
    )
    (cost,) = operation_costs(Route(part="L1", kind="element", operations=(setup_and_piece,)), started=quantity, rates=rates)
    assert cost.amount / quantity == Decimal(each)


@pytest.mark.parametrize(("wanted", "yield_share", "confidence"), [(100_000, 0.9, 0.95), (50_000, 0.63, 0.99)])
def test_a_hundred_thousand_are_exact_against_a_sum_of_logarithms(wanted: int, yield_share: float, confidence: float) -> None:
    # General library: the binomial mass from math.lgamma, added with math.fsum.
    def tail(n: int) -> float:
        mass = (
            math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1) + k * math.log(yield_share) + (n - k) * math.log1p(-yield_share)
            for k in range(wanted, n + 1)
        )  # fmt: skip
        return math.fsum(math.exp(one) for one in mass)

    n = start_quantity(wanted=wanted, yield_share=yield_share, confidence=confidence)
    assert tail(n) >= confidence - 1e-7
    assert tail(n - 1) < confidence + 1e-7
