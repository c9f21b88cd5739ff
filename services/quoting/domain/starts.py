"""How many of each part are started: backward from the order, through the lens and its groups, to every element."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from services.quoting.domain.start_quantity import chance_of_enough, start_quantity
from shared_schemas.operations import Operation, Route


@dataclass(frozen=True)
class PartStart:
    """One part: how many are needed, how many are started, what survives, and the chance that it is enough."""

    part: str
    needed: int
    started: int
    yield_share: float
    confidence: float
    chance: float


def route_yield(operations: Sequence[Operation]) -> float:
    """Share of pieces that survive a whole route: the product of yields, and of the batches that are not lost.

    Losing a whole batch counts as so many single losses here, which gets the mean right and the spread too small.
    """
    return math.prod(operation.yield_share * (1 - operation.batch_loss) for operation in operations)


def part_starts(*, routes: Sequence[Route], quantity: int, confidence: float) -> dict[str, PartStart]:
    """Start quantity of every part, for `quantity` good lenses with probability `confidence` at least.

    Args:
        routes: every element and group before the part that consumes it; the lens last.
        quantity: good lenses wanted.
        confidence: probability asked for, over 0 and below 1.

    Notes:
        Every part must turn out enough. The K parts that can fall short (yield below 1) are each given the confidence
        C^(1/K); as parts fail independently of each other, the whole lens then has C or more.
    """
    yields = {route.part: route_yield(route.operations) for route in routes}
    each = confidence ** (1 / max(1, sum(share < 1 for share in yields.values())))
    needed: dict[str, int] = {routes[-1].part: quantity}
    starts: dict[str, PartStart] = {}
    for route in reversed(routes):
        wanted = needed.get(route.part, 0)
        survives = yields[route.part]
        started = start_quantity(wanted=wanted, yield_share=survives, confidence=each)
        chance = chance_of_enough(started=started, wanted=wanted, yield_share=survives)
        starts[route.part] = PartStart(route.part, wanted, started, survives, each, chance)
        for consumed in route.consumes:
            needed[consumed.part] = needed.get(consumed.part, 0) + started * consumed.count
    return {route.part: starts[route.part] for route in routes}
