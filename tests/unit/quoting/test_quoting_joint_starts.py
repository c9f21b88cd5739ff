"""Starts of all lots together: against counting every outcome, and what more confidence, better yields and rework do to them."""

from __future__ import annotations

import math
import random
from collections.abc import Mapping
from functools import lru_cache, partial
from itertools import pairwise, product

import numpy as np
import pytest
from scipy.stats import binom

from services.quoting.pricing.joint_starts import JointStarts, Lot, job_of, joint_starts, reachable_chance
from services.quoting.risk.losses import Batches, Losses
from services.quoting.risk.needs import good_at_least, missing_in_the_mean, need_of
from shared_schemas.operations import Consumed, Route
from tests.unit.quoting.conftest import operation

STEP = (operation(**{"yield": 1.0}),)


def assembly(*groups: tuple[str, ...], singly: tuple[str, ...] = ()) -> tuple[Route, ...]:
    """Routes of a lens of groups, each of the elements named, and of single elements."""
    elements = dict.fromkeys([*(part for group in groups for part in group), *singly])
    cemented = tuple(
        Route(part="+".join(group), kind="cemented_group", operations=STEP, consumes=tuple(Consumed(part=part) for part in group))
        for group in groups
    )
    consumed = (*("+".join(group) for group in groups), *singly)
    lens = Route(part="lens", kind="lens", operations=STEP, consumes=tuple(Consumed(part=part) for part in consumed))
    return (*(Route(part=part, kind="element", operations=STEP) for part in elements), *cemented, lens)


@lru_cache(maxsize=100_000)
def at_least(wanted: int, out_of: int, share: float) -> float:
    """P(Bin(n, y) >= x), summed term by term."""
    return math.fsum(math.comb(out_of, good) * share**good * (1 - share) ** (out_of - good) for good in range(wanted, out_of + 1))


def by_counting(routes: tuple[Route, ...], started: Mapping[str, int], shares: Mapping[str, float], quantity: int) -> float:
    """P(enough good lenses), over every number of good elements; groups and lenses are put together until enough are good."""
    lens = routes[-1]
    children = {route.part: route for route in routes if route.kind == "cemented_group"}
    sets = max(started.values())
    reach = {}  # P(at least m of a child come out), for m of 0 .. sets
    for consumed in lens.consumes:
        group = children.get(consumed.part)
        members = [one.part for one in group.consumes] if group else [consumed.part]
        kits = [math.prod([at_least(m, started[part], shares[part]) for part in members]) for m in range(sets + 2)]
        if group is None:
            reach[consumed.part] = kits
            continue
        exactly = [kits[m] - kits[m + 1] for m in range(sets + 1)]
        share = shares[group.part]
        reach[consumed.part] = [sum(p * at_least(m, k, share) for k, p in enumerate(exactly)) for m in range(sets + 2)]
    kits = [math.prod([reach[consumed.part][m] for consumed in lens.consumes]) for m in range(sets + 2)]
    return float(sum((kits[m] - kits[m + 1]) * at_least(quantity, m, shares["lens"]) for m in range(sets + 1)))


def planned(
    routes: tuple[Route, ...], shares: Mapping[str, float], quantity: int, confidence: float, **costs: float
) -> JointStarts:
    """The joint plan of lots that cost so much a piece."""
    losses = {part: Losses(share) for part, share in shares.items()}
    lots = [
        Lot(route.part, losses[route.part], partial(np.multiply, costs.get(route.part, 50.0)))
        for route in routes
        if route.kind == "element"
    ]
    return joint_starts(routes=routes, quantity=quantity, confidence=confidence, losses=losses, lots=lots)


def test_the_chance_of_two_hundred_small_plans_is_that_of_counting_every_outcome() -> None:
    generator = random.Random("small plans")
    for _ in range(200):
        groups = generator.choice([(("A", "B"),), (("A", "B"), ("C", "D")), (("A", "B", "C"),), ()])
        singly = ("E",) if not groups or generator.random() < 0.5 else ()
        routes = assembly(*groups, singly=singly)
        shares = {route.part: generator.uniform(0.7, 0.99) for route in routes}
        quantity, confidence = generator.randint(1, 6), generator.uniform(0.55, 0.97)
        plan = planned(routes, shares | {"lens": 1.0}, quantity, confidence)
        assert plan.chance == pytest.approx(by_counting(routes, plan.started, shares | {"lens": 1.0}, quantity), abs=2e-6)
        assert plan.chance >= confidence


def test_the_plan_is_within_a_few_percent_of_the_cheapest_there_is() -> None:
    """Every plan of up to ten pieces of each of three lots is counted; the cheapest that is sure enough is no more than a piece cheaper."""
    generator = random.Random("cheapest")
    for _ in range(8):
        routes = assembly(("A", "B"), singly=("E",))
        shares = {route.part: generator.uniform(0.75, 0.97) for route in routes} | {"lens": 1.0}
        costs = {part: generator.uniform(20, 200) for part in "ABE"}
        plan = planned(routes, shares, 3, 0.9, **costs)
        cost = sum(costs[part] * number for part, number in plan.started.items())
        best = min(
            sum(costs[part] * number for part, number in zip("ABE", numbers, strict=True))
            for numbers in product(range(3, 11), repeat=3)
            if by_counting(routes, dict(zip("ABE", numbers, strict=True)), shares, 3) >= 0.9
        )
        assert best - 1e-9 <= cost <= best + max(costs.values())


def test_with_more_confidence_no_lot_is_started_less() -> None:
    generator = random.Random("confidence")
    for _ in range(12):
        routes = assembly(("A", "B"), ("C", "D"), singly=("E",))
        shares = {route.part: generator.uniform(0.8, 0.99) for route in routes}
        quantity = generator.choice([1, 4, 25, 300, 20_000])
        plans = [planned(routes, shares, quantity, confidence) for confidence in (0.5, 0.7, 0.8, 0.9, 0.95, 0.99)]
        for fewer, more in pairwise(plans):
            assert fewer.chance <= more.chance + 1e-12
            assert all(fewer.started[part] <= more.started[part] for part in fewer.started)
            assert fewer.kits <= more.kits


def test_one_piece_fewer_of_the_last_lot_raised_is_not_enough() -> None:
    routes = assembly(("A", "B"), singly=("E",))
    shares = {"A": 0.9, "B": 0.85, "E": 0.93, "A+B": 0.95, "lens": 1.0}
    plan = planned(routes, shares, 20, 0.9)
    one_fewer = [by_counting(routes, {**plan.started, part: number - 1}, shares, 20) for part, number in plan.started.items()]
    assert min(one_fewer) < 0.9 <= plan.chance


def test_a_lot_that_several_groups_take_of_is_counted_for_all_of_them() -> None:
    routes = (
        Route(part="A", kind="element", operations=STEP),
        Route(part="B", kind="element", operations=STEP),
        Route(part="g", kind="cemented_group", operations=STEP, consumes=(Consumed(part="A", count=2),)),
        Route(part="h", kind="cemented_group", operations=STEP, consumes=(Consumed(part="A"), Consumed(part="B"))),
        Route(part="lens", kind="lens", operations=STEP, consumes=(Consumed(part="g"), Consumed(part="h"))),
    )
    losses = {part: Losses(share) for part, share in {"A": 0.9, "B": 0.9, "g": 0.8, "h": 0.9, "lens": 1.0}.items()}
    job = job_of(routes=routes, quantity=10, losses=losses)
    demand, chance = job.demand["A"]
    assert float(demand @ chance) == pytest.approx(2 * 10 / 0.8 + 10 / 0.9, rel=1e-3)
    assert chance.sum() == pytest.approx(1)


def test_where_whole_lots_may_be_lost_the_aim_bends_off_and_no_lot_is_started_twice() -> None:
    losses = {"A": Losses(0.95, (Batches(50, 50, 0.08),)), "lens": Losses(1.0)}
    routes = assembly(singly=("A",))
    plan = joint_starts(
        routes=routes, quantity=10, confidence=0.95, losses=losses, lots=[Lot("A", losses["A"], partial(np.multiply, 9.0))]
    )
    assert plan.aim < 0.92
    assert plan.chance >= plan.aim
    assert plan.started["A"] < 16


def test_the_aim_is_the_confidence_while_it_is_in_reach_and_rises_with_it() -> None:
    assert reachable_chance(confidence=0.9, best=0.97) == 0.9
    assert reachable_chance(confidence=0.9, best=0.92) == pytest.approx(0.87)
    aims = [reachable_chance(confidence=confidence / 100, best=0.9) for confidence in range(50, 100)]
    assert aims == sorted(aims)
    assert aims[-1] < 0.9


@pytest.mark.parametrize("wanted", [1, 7, 60, 3000])
def test_the_need_of_sets_has_the_mean_of_the_negative_binomial(wanted: int) -> None:
    need = need_of(wanted=wanted, losses=Losses(0.9))
    assert need.chance.sum() == pytest.approx(1)
    assert need.mean == pytest.approx(wanted / 0.9, rel=1e-4)
    assert len(need.pieces) <= 32


@pytest.mark.parametrize(("started", "wanted"), [(12, 10), (30, 25), (500, 470), (900, 800)])
def test_pieces_missing_in_the_mean_are_those_of_the_distribution(started: int, wanted: int) -> None:
    numbers = np.arange(started + 1)
    expected = float(np.maximum(wanted - numbers, 0) @ binom.pmf(numbers, started, 0.9))
    assert missing_in_the_mean(started=started, wanted=wanted, losses=Losses(0.9)) == pytest.approx(expected, rel=0.02, abs=1e-9)


def test_large_lots_are_as_likely_to_be_enough_counted_or_taken_as_normal() -> None:
    """Their good pieces are skewed by -0.11, which moves a normal chance by no more than that times phi(0) / 6, 0.0073 (derived)."""
    losses = Losses(0.9, (Batches(2, 2, 1e-6),))
    exact = good_at_least(started=600, wanted=np.array([530.0, 540.0, 550.0]), losses=losses)
    normal = good_at_least(started=601, wanted=np.array([530.9, 540.9, 550.9]), losses=losses)
    assert exact == pytest.approx(normal, abs=0.0075)
