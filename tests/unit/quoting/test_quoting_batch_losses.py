"""Batches that are lost together: start quantities that cover them, and what a lot may come to."""

from __future__ import annotations

import math
import random
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.quoting.pricing.starts import start_quantity
from services.quoting.risk.draws import edges_of
from services.quoting.risk.losses import Batches, Losses, chances_of_enough, left_after_batches, losses_of
from services.quoting.risk.outcomes import outcomes
from services.quoting.risk.worth import Step, Worth
from shared_schemas.problem import FigureOutOfRange
from tests.unit.quoting.conftest import operation

BATCHES = st.lists(st.builds(Batches, starts=st.integers(2, 30), pieces=st.just(5), chance=st.floats(0.001, 0.2)), max_size=3).map(
    tuple
)
LOSSES = st.builds(Losses, yield_share=st.floats(0.5, 1.0), batches=BATCHES)
WORTH = Worth(steps=(Step(reach=1.0, batch_size=10, setup=20.0, batch=30.0, piece=2.0),), inputs=5.0, value=12.0)


@given(wanted=st.integers(1, 150), losses=LOSSES)
@settings(max_examples=100, deadline=None)
def test_one_piece_more_never_lowers_the_chance_of_enough(wanted: int, losses: Losses) -> None:
    chances = chances_of_enough(most=wanted + 120, wanted=wanted, losses=losses)
    assert all(fewer <= more + 1e-12 for fewer, more in pairwise(chances))
    assert 0 <= chances[0] <= chances[-1] <= 1


@given(wanted=st.integers(1, 150), losses=LOSSES, confidence=st.floats(0.3, 0.99))
@settings(max_examples=60, deadline=None)
def test_the_start_quantity_with_lost_batches_is_the_smallest_that_is_enough(
    wanted: int, losses: Losses, confidence: float
) -> None:
    n = start_quantity(wanted=wanted, yield_share=losses.yield_share, confidence=confidence, batches=losses.batches)
    chances = chances_of_enough(most=n, wanted=wanted, losses=losses)
    assert chances[-1] >= confidence
    assert len(chances) == 1 or chances[-2] < confidence
    assert n >= start_quantity(wanted=wanted, yield_share=losses.yield_share, confidence=confidence)


@given(started=st.integers(1, 200), batches=BATCHES)
@settings(max_examples=60, deadline=None)
def test_what_is_left_after_lost_batches_has_the_mean_of_its_chances(started: int, batches: tuple[Batches, ...]) -> None:
    left = left_after_batches(started=started, batches=batches)
    assert left.chance.sum() == pytest.approx(1)
    if len(batches) <= 1:  # more kinds of batches are formed anew of what is left; the mean is the same
        assert left.chance @ left.pieces == pytest.approx(started * Losses(1.0, batches).mean_yield, rel=2e-3, abs=0.02)


def test_a_batch_of_one_is_a_single_loss_and_one_block_is_lost_once() -> None:
    block = {"face": "front", "batch_size": 7, "batch_loss": 0.1, "yield": 1.0}
    losses = losses_of((
        operation(operation="generate", batch_size=1, batch_loss=0.2, **{"yield": 0.5}),
        operation(operation="fine_grind", **block), operation(operation="polish", **block),
        operation(operation="coat", **{**block, "batch_size": 40}),
    ))  # fmt: skip
    assert losses.yield_share == pytest.approx(0.4)
    assert [(one.pieces, one.starts) for one in losses.batches] == [(7, 18), (40, 100)], "seven of 0.4 times eighteen"
    assert [one.chance for one in losses.batches] == pytest.approx([0.19, 0.1])
    assert losses.mean_yield == pytest.approx(0.4 * 0.81 * 0.9)


def test_many_lost_batches_are_taken_as_normal_near_the_exact_sum() -> None:
    losses = Losses(0.9, (Batches(4, 4, 0.1),))
    exact = start_quantity(wanted=400, yield_share=0.9, confidence=0.9, batches=losses.batches)
    chances = chances_of_enough(most=exact + 400, wanted=520, losses=losses)
    assert losses.many(520)
    assert not losses.many(400)
    assert exact / 400 == pytest.approx((520 + np.searchsorted(chances, 0.9)) / 520, rel=0.01)


def test_a_hundred_thousand_in_small_batches_are_solved_too() -> None:
    n = start_quantity(wanted=100_000, yield_share=0.9, confidence=0.95, batches=(Batches(2, 2, 0.05),))
    assert 117_000 < n < 118_000


def test_a_batch_that_is_always_lost_has_no_answer() -> None:
    with pytest.raises(FigureOutOfRange, match="yield"):
        start_quantity(wanted=10, yield_share=1.0, confidence=0.9, batches=(Batches(5, 5, 1.0),))


def test_the_variance_of_outcomes_falls_into_batches_and_pieces_and_spares_are_what_is_left_over() -> None:
    losses = Losses(0.9, (Batches(10, 10, 0.05),))
    found = outcomes(started=40, needed=30, losses=losses, worth=WORTH)
    mean = found.mean_cost
    assert found.chance.sum() == pytest.approx(1, abs=1e-12)
    assert found.from_batches + found.from_pieces == pytest.approx(found.chance @ (found.cost - mean) ** 2, rel=1e-3)
    good = found.chance @ found.good
    short = found.chance @ np.maximum(30 - found.good, 0)
    assert found.spares == pytest.approx(good - 30 + short, rel=1e-3)
    assert found.enough == pytest.approx(chances_of_enough(most=40, wanted=30, losses=losses)[-1], abs=1e-4)


def test_a_perfect_route_leaves_nothing_to_chance() -> None:
    found = outcomes(started=7, needed=7, losses=Losses(1.0), worth=WORTH)
    assert (found.enough, found.spares, found.mean_cost, found.from_pieces) == (1.0, 0.0, 0.0, 0.0)


def test_chances_of_two_thousand_mixtures_have_the_sum_one_and_none_is_negative() -> None:
    generator = random.Random("mixtures")
    for _ in range(2000):
        needed = round(10 ** generator.uniform(0, 5))
        losses = a_mixture(generator, needed)
        started = math.ceil(needed / losses.mean_yield * generator.uniform(1.0, 1.2))
        drawn = outcomes(started=started, needed=needed, losses=losses, worth=WORTH)
        edges = edges_of(drawn.chance)
        assert drawn.chance.min() >= 0, losses
        assert math.isclose(drawn.chance.sum(), 1.0, abs_tol=1e-9), (needed, losses)
        assert edges[0] >= 0, losses
        assert (np.diff(edges) >= 0).all(), losses


def a_mixture(generator: random.Random, needed: int) -> Losses:
    """Losses of up to four kinds of batches, from two pieces to three orders together."""
    kinds = []
    for _ in range(generator.randint(0, 4)):
        starts = max(2, round(10 ** generator.uniform(0.3, math.log10(3 * needed + 10))))
        kinds.append(Batches(starts, max(2, round(0.8 * starts)), generator.uniform(0.0005, 0.08)))
    return Losses(1.0 if generator.random() < 0.05 else generator.uniform(0.3, 0.9999), tuple(kinds))


def test_few_pieces_left_of_a_large_lot_are_counted_once() -> None:
    losses = Losses(0.78, (Batches(2674, 2161, 0.01), Batches(2729, 2161, 0.01)))
    drawn = outcomes(started=943, needed=700, losses=losses, worth=WORTH)
    nothing_left = float(drawn.chance[drawn.good == 0].sum())
    assert math.isclose(nothing_left, 1 - 0.99**2, rel_tol=1e-9)
