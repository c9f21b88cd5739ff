"""How many of each part are started: backward from the order, through the lens and its groups, to every element."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from services.quoting.pricing.filling import filled
from services.quoting.pricing.start_quantity import chance_of_enough, start_quantity
from services.quoting.risk.losses import Batches, Losses, chances_of_enough, losses_of
from services.quoting.risk.worth import Worth
from shared_schemas.operations import Operation, Route

LARGEST_COVERED = 0.05
"""A batch up to this share of the order is covered by more starts, a larger one made again if it is lost; common practice."""


@dataclass(frozen=True)
class PartStart:
    """One part: how many are needed, how many are started, what survives, and the chance that it is enough.

    `yield_share` is of single losses, `batches` are the lost ones that more starts cover, `uncovered` those that none cover.
    """

    part: str
    needed: int
    started: int
    yield_share: float
    confidence: float
    chance: float
    batches: tuple[Batches, ...] = ()
    uncovered: tuple[Batches, ...] = ()
    filled_up: int = 0


def route_yield(operations: Sequence[Operation]) -> float:
    """Share of pieces that survive a whole route in the mean: the product of yields, and of the batches that are not lost."""
    return math.prod(operation.yield_share * (1 - operation.batch_loss) for operation in operations)


def covered(losses: Losses, *, wanted: int) -> Losses:
    """The losses that more starts make good: single ones, and those of batches that are a small share of the order.

    Notes:
        Where the order goes into one or a few batches, to insure against losing one means to start as many pieces again, on
        every order, for a loss of one in a hundred: a shop makes the batch again when it happens. That risk is not of the
        start quantity; it is drawn with the other risks and shown.
    """
    return Losses(losses.yield_share, tuple(batch for batch in losses.batches if batch.pieces <= LARGEST_COVERED * wanted))


def part_start(*, part: str, losses: Losses, wanted: int, confidence: float, worth: Worth | None = None) -> PartStart:
    """Start quantity of one part; with its `worth`, a block or run is filled up where that is cheaper than the risk."""
    safe = covered(losses, wanted=wanted)
    least = start_quantity(wanted=wanted, yield_share=losses.yield_share, confidence=confidence, batches=safe.batches)
    started = filled(least=least, wanted=wanted, confidence=confidence, losses=safe, worth=worth) if worth else least
    return PartStart(
        part=part,
        needed=wanted,
        started=started,
        yield_share=losses.yield_share,
        confidence=confidence,
        chance=_chance(started, wanted, safe),
        batches=safe.batches,
        uncovered=tuple(batch for batch in losses.batches if batch not in safe.batches),
        filled_up=started - least,
    )


def _chance(started: int, wanted: int, losses: Losses) -> float:
    if losses.batches and wanted > 0:
        return float(chances_of_enough(most=started, wanted=wanted, losses=losses)[-1])
    return chance_of_enough(started=started, wanted=wanted, yield_share=losses.yield_share)


def share_of_confidence(losses: Mapping[str, Losses], confidence: float) -> float:
    """What each part that can fall short is given: C^(1/K), so that K parts, independent of each other, have C together."""
    return float(confidence ** (1 / max(1, sum(one.mean_yield < 1 for one in losses.values()))))


def part_starts(
    *, routes: Sequence[Route], quantity: int, confidence: float,
    losses: Mapping[str, Losses] | None = None, worths: Mapping[str, Worth] | None = None,
) -> dict[str, PartStart]:  # fmt: skip
    """Start quantity of every part, for `quantity` good lenses with probability `confidence` at least.

    Args:
        routes: every element and group before the part that consumes it; the lens last.
        quantity: good lenses wanted.
        confidence: probability asked for, over 0 and below 1.
        losses: what each route loses, worked out before; from the routes if left out.
        worths: what pieces of each part cost; without them no block is filled up.
    """
    losses = losses or {route.part: losses_of(route.operations) for route in routes}
    each = share_of_confidence(losses, confidence)
    needed: dict[str, int] = {routes[-1].part: quantity}
    starts: dict[str, PartStart] = {}
    for route in reversed(routes):
        start = part_start(
            part=route.part,
            losses=losses[route.part],
            wanted=needed.get(route.part, 0),
            confidence=each,
            worth=worths[route.part] if worths else None,
        )
        starts[route.part] = start
        for consumed in route.consumes:
            needed[consumed.part] = needed.get(consumed.part, 0) + start.started * consumed.count
    return {route.part: starts[route.part] for route in routes}
