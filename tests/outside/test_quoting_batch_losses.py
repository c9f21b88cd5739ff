"""Start quantities with lost batches against scipy.stats, and against lots that are played through."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from services.quoting.pricing.starts import start_quantity
from services.quoting.risk.losses import Batches, Losses, chances_of_enough, left_after_batches
from services.quoting.risk.outcomes import outcomes
from services.quoting.risk.worth import Step, Worth

LOTS = 40_000


def played(started: int, losses: Losses, seed: int) -> np.ndarray:
    """Good pieces of many lots, batch by batch and piece by piece."""
    generator = np.random.default_rng(seed)
    alive = np.ones((LOTS, started), dtype=bool)
    for batch in losses.batches:
        place = np.cumsum(alive, axis=1) - 1  # what is left goes into batches in order
        lost = generator.random((LOTS, started // batch.starts + 1)) < batch.chance
        alive &= ~np.take_along_axis(lost, np.maximum(place, 0) // batch.starts, axis=1)
    return np.asarray(generator.binomial(alive.sum(axis=1), losses.yield_share))


CASES = [
    (60, 50, Losses(0.95, (Batches(7, 7, 0.06),))),
    (140, 100, Losses(0.85, (Batches(12, 10, 0.03), Batches(35, 30, 0.02)))),
    (30, 20, Losses(0.9, (Batches(6, 6, 0.05), Batches(4, 4, 0.1), Batches(50, 50, 0.02)))),
]


@pytest.mark.parametrize(("started", "wanted", "losses"), CASES)
def test_the_chance_of_enough_is_that_of_lots_played_through(started: int, wanted: int, losses: Losses) -> None:
    chance = chances_of_enough(most=started, wanted=wanted, losses=losses)[-1]
    share = (played(started, losses, 20261102) >= wanted).mean()
    assert abs(share - chance) < 3 * math.sqrt(chance * (1 - chance) / LOTS)


@pytest.mark.parametrize(("started", "wanted", "losses"), CASES)
def test_the_mean_and_variance_of_what_comes_out_are_those_of_lots_played_through(
    started: int, wanted: int, losses: Losses
) -> None:
    found = outcomes(started=started, needed=wanted, losses=losses, worth=Worth((), 0.0, 0.0))
    good = played(started, losses, 1905)
    mean = found.chance @ found.good
    assert abs(good.mean() - mean) < 3 * good.std() / math.sqrt(LOTS)
    assert found.chance @ (found.good - mean) ** 2 == pytest.approx(good.var(), rel=0.04)


def test_without_batches_it_is_the_binomial_of_scipy() -> None:
    chances = chances_of_enough(most=140, wanted=100, losses=Losses(0.87))
    assert chances == pytest.approx(stats.binom.sf(99, np.arange(100, 141), 0.87), abs=1e-12)


def test_full_batches_alone_are_the_binomial_of_scipy_in_batches() -> None:
    # 12 batches of 8, none lost singly: at least 80 pieces are at least 10 batches.
    chance = chances_of_enough(most=96, wanted=80, losses=Losses(1.0, (Batches(8, 8, 0.07),)))[-1]
    assert chance == pytest.approx(stats.binom.sf(9, 12, 0.93), abs=1e-12)


def test_the_mixture_is_the_sum_over_lost_batches_written_out_with_scipy() -> None:
    lost = np.arange(11)
    expected = stats.binom.pmf(lost, 10, 0.04) @ stats.binom.sf(69, 100 - 10 * lost, 0.88)
    assert chances_of_enough(most=100, wanted=70, losses=Losses(0.88, (Batches(10, 10, 0.04),)))[-1] == pytest.approx(
        expected, abs=1e-12
    )


def test_a_beta_binomial_of_the_same_spread_is_near_but_misses_the_steps_of_whole_batches() -> None:
    """Why a mixture: a beta-binomial of equal mean and correlation smears the loss of a block over all numbers."""
    size, chance, started = 10, 0.05, 100
    left = left_after_batches(started=started, batches=(Batches(size, size, chance),))
    mean = 1 - chance
    variance = left.chance @ (left.pieces - started * mean) ** 2
    rho = (variance / (started * mean * (1 - mean)) - 1) / (started - 1)
    a, b = mean * (1 / rho - 1), (1 - mean) * (1 / rho - 1)
    beta = stats.betabinom(started, a, b)
    assert beta.mean() == pytest.approx(left.chance @ left.pieces, rel=1e-3)
    assert beta.var() == pytest.approx(variance, rel=1e-3)
    exact = chances_of_enough(most=started, wanted=91, losses=Losses(1.0, (Batches(size, size, chance),)))[-1]
    assert exact == pytest.approx((1 - chance) ** 10, abs=1e-12)
    assert abs(beta.sf(90) - exact) > 0.05


def test_the_start_quantity_covers_the_lost_block_at_the_confidence_asked() -> None:
    losses = Losses(0.95, (Batches(7, 7, 0.06),))
    n = start_quantity(wanted=50, yield_share=0.95, confidence=0.9, batches=losses.batches)
    enough, fewer = ((played(number, losses, 7) >= 50).mean() for number in (n, n - 1))
    slack = 3 * math.sqrt(0.9 * 0.1 / LOTS)
    assert enough >= 0.9 - slack
    assert fewer < 0.9 + slack


def test_the_expected_cost_beyond_the_plan_is_that_of_lots_played_through() -> None:
    losses = Losses(0.9, (Batches(12, 12, 0.05),))
    worth = Worth((Step(1.0, 12, 40.0, 25.0, 1.0), Step(0.9, 1, 5.0, 3.0, 0.0)), 4.0, 12.0)
    found = outcomes(started=60, needed=50, losses=losses, worth=worth)
    missing = np.maximum(50 - played(60, losses, 3), 0)
    number = np.ceil(missing / losses.mean_yield - 1e-9)
    again = np.where(missing > 0, np.interp(number, worth.again.number, worth.again.cost), 0.0)
    assert abs(found.mean_cost - again.mean()) < 3 * again.std() / math.sqrt(LOTS)
