"""Laws of the starts: what a plan says of its chance is what happens when its lots are played through, piece by piece."""

from __future__ import annotations

import json
from collections.abc import Mapping

import numpy as np
import pytest

from services.quoting.pricing.planned import Planned
from shared_schemas.operations import Operation, Route
from tests.chain import demo, published_triplet, singlet
from tests.laws.prices import Prescription, planned, singlets

PLAYED = 2000
"""Jobs played through."""
SIGMAS = 4.0


def played(plan: Planned, starts: Mapping[str, int], seed: int) -> float:
    """Share of jobs in which the starts were enough, every piece and batch drawn by itself; written from the route cards alone."""
    draw = np.random.default_rng(seed)
    routes = {route.part: route for route in plan.made.routes}
    good: dict[str, np.ndarray] = {}
    for part, route in routes.items():
        if route.kind == "element":
            good[part] = np.array([left_of(route.operations, starts[part], draw) for _ in range(PLAYED)])
        else:
            sets = np.min([good[one.part] // one.count for one in route.consumes], axis=0)
            good[part] = draw.binomial(sets, np.prod([kept(operation) for operation in route.operations]))
    return float(np.mean(good[plan.made.lens.part] >= plan.quantity))


def kept(operation: Operation) -> float:
    """What passes, and what is good after its rework; batches of one are single pieces."""
    share = operation.yield_share + (1 - operation.yield_share) * operation.rework_share * operation.rework_yield
    return share * (1 - lost(operation)) if operation.batch_size == 1 else share


def lost(operation: Operation) -> float:
    """The chance that a batch is lost and its rework fails."""
    return operation.batch_loss * (1 - operation.rework_share * operation.rework_yield)


def left_of(operations: tuple[Operation, ...], started: int, draw: np.random.Generator) -> int:
    """Good pieces of one lot: at every operation it goes in full batches and a last one, each lost whole or not, then piece by piece."""
    pieces = started
    for operation in operations:
        if operation.batch_size > 1 and lost(operation) > 0:
            full, rest = divmod(pieces, operation.batch_size)
            whole = int(draw.binomial(full, 1 - lost(operation))) * operation.batch_size
            pieces = whole + (rest if draw.random() >= lost(operation) else 0)
        pieces = int(draw.binomial(pieces, kept(operation)))
    return pieces


def asked(prescription: object) -> Prescription:
    """A prescription as its JSON."""
    return json.loads(prescription.model_dump_json(by_alias=True, exclude_unset=True))  # type: ignore[attr-defined, no-any-return]


LENSES = [
    pytest.param(singlet(), id="singlet"),
    *(pytest.param(lens, id=f"drawn {place}") for place, lens in enumerate(singlets(seed=11, count=3))),
    pytest.param(asked(published_triplet().prescription), id="triplet"),
    pytest.param(asked(demo().prescription), id="demo"),
]


@pytest.mark.parametrize("quantity", [5, 25, 100])
@pytest.mark.parametrize("lens", LENSES)
def test_starts_are_enough_as_often_as_the_plan_says(lens: Prescription, quantity: int) -> None:
    plan = planned(lens).at(quantity, evened=False).plan
    starts = {part: start.started for part, start in plan.starts.items()}
    share = played(plan, starts, seed=quantity)
    noise = SIGMAS * np.sqrt(plan.chance * (1 - plan.chance) / PLAYED)
    assert share == pytest.approx(plan.chance, abs=noise)
    assert plan.chance >= plan.joint.aim - 1e-9


@pytest.mark.parametrize("quantity", [5])
@pytest.mark.parametrize("lens", LENSES)
def test_with_one_piece_fewer_they_are_not(lens: Prescription, quantity: int) -> None:
    plan = planned(lens).at(quantity, evened=False).plan
    starts = {part: start.started for part, start in plan.starts.items()}
    elements = [route.part for route in plan.made.routes if route.kind == "element"]
    noise = SIGMAS * np.sqrt(plan.joint.aim * (1 - plan.joint.aim) / PLAYED)
    fewest = min(played(plan, {**starts, part: starts[part] - 1}, seed=quantity) for part in elements)
    assert fewest < plan.joint.aim + noise


def test_a_route_that_loses_nothing_starts_what_is_asked() -> None:
    of_lens = planned(singlet())
    route = of_lens.plans.routes[0]
    sure = Route(
        part=route.part,
        kind=route.kind,
        operations=tuple(one.model_copy(update={"yield_share": 1.0, "batch_loss": 0.0}) for one in route.operations),
    )
    assert left_of(sure.operations, 17, np.random.default_rng(1)) == 17
