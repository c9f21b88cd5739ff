"""How many of each part are started: backward from the order, through the lens and its groups, to every element.

How many must be started so that enough good ones come out? Is it cheaper to fill a block or a run up than to risk making a few
pieces again?
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import betainc, nbdtrik

from services.optics.law import law
from services.quoting.risk.losses import Batches, Losses, chances_of_enough, losses_of
from services.quoting.risk.worth import Worth
from shared_schemas.operations import Route
from shared_schemas.problem import FigureOutOfRange

LARGEST_COVERED = 0.05
"""A batch up to this share of the order is covered by more starts, a larger one made again if it is lost; common practice."""

MOST_STARTED = 100_000_000
"""Beyond this a yield is taken as a slip of the pen; a thousand starts for each piece of the largest order."""
FURTHEST_FILL = 0.25
"""No more than this share of the lot is added to fill a block: the pieces would lie in the store (common practice)."""


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
    started = _filled(least=least, wanted=wanted, confidence=confidence, losses=safe, worth=worth) if worth else least
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
    return confidence_each(confidence=confidence, parts_at_risk=parts_at_risk(losses))


def parts_at_risk(losses: Mapping[str, Losses]) -> int:
    """Parts that can fall short; one where none can."""
    return max(1, sum(one.mean_yield < 1 for one in losses.values()))


@law
def confidence_each(*, confidence: float, parts_at_risk: int) -> float:
    """Confidence of each part that can fall short, so that all of them, independent of each other, have that of the request.

    Equation: confidence ** (1 / parts_at_risk)
    """
    return float(confidence ** (1 / parts_at_risk))


@law
def needed_for(*, started: int, count: int) -> int:
    """Pieces that a part consumes of another.

    Equation: started * count
    """
    return started * count


@law
def needed_in_all(*, needs: Sequence[int]) -> int:
    """Pieces that all parts consume of another.

    Equation: sum(needs)
    """
    return sum(needs)


@law
def blanks_for(*, starts: Sequence[int]) -> int:
    """Blanks of each element in a purchase that several share.

    Equation: max(starts)
    """
    return max(starts)


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
            needed[consumed.part] = needed.get(consumed.part, 0) + needed_for(started=start.started, count=consumed.count)
    return {route.part: starts[route.part] for route in routes}


def chance_of_enough(*, started: int, wanted: int, yield_share: float) -> float:
    """Probability that at least `wanted` of `started` pieces survive, each with probability `yield_share` by itself.

    Returns:
        P(Bin(n, y) >= Q), as the regularised incomplete beta function I_y(Q, n - Q + 1).

    Source: identity of the binomial tail and the incomplete beta function (Abramowitz & Stegun 26.5.24, from memory).
    """
    if wanted <= 0:
        return 1.0
    if started < wanted:
        return 0.0
    return float(betainc(wanted, started - wanted + 1, yield_share))


def _checked(yield_share: float, confidence: float, wanted: int) -> None:
    if not 0 < yield_share <= 1:
        raise FigureOutOfRange("yield", yield_share, "over 0 and up to 1")
    if not 0 < confidence < 1:
        raise FigureOutOfRange("confidence", confidence, "over 0 and below 1")
    if wanted > yield_share * MOST_STARTED:
        raise FigureOutOfRange("yield", yield_share, f"over {wanted / MOST_STARTED:g} to make {wanted} pieces")


@lru_cache(maxsize=4096)
def start_quantity(*, wanted: int, yield_share: float, confidence: float, batches: tuple[Batches, ...] = ()) -> int:
    """Smallest number to start so that at least `wanted` come out good with probability `confidence`.

    Args:
        wanted: good pieces needed, 0 or more.
        yield_share: share of pieces that survive single losses, over 0 and up to 1.
        confidence: probability asked for, over 0 and below 1.
        batches: batches of pieces that are lost together.

    Returns:
        n, the smallest with P(good of n >= Q) >= C; exact, as the tail rises with n.

    Raises:
        FigureOutOfRange: a yield of 0 or a confidence of 1, which no number reaches, or a yield that needs absurdly many.

    Notes:
        The mean rule ceil(Q/y) is no substitute: its confidence wanders between one half and nearly one.
    """
    losses = Losses(yield_share, batches)
    _checked(yield_share, confidence, wanted)
    _checked(losses.mean_yield, confidence, wanted)
    if wanted <= 0 or losses.mean_yield == 1:
        return max(wanted, 0)
    if batches:
        return _with_batches(wanted, losses, confidence)
    return _without_batches(wanted, yield_share, confidence)


def _without_batches(wanted: int, yield_share: float, confidence: float) -> int:
    """The quantile of the lost pieces at `wanted` good ones, which is negative binomial; where rounding makes it one off, the neighbour."""
    started = wanted + int(np.ceil(nbdtrik(confidence, wanted, yield_share)))
    if chance_of_enough(started=started, wanted=wanted, yield_share=yield_share) < confidence:
        return started + 1
    one_fewer = chance_of_enough(started=started - 1, wanted=wanted, yield_share=yield_share)
    return started - (one_fewer >= confidence)


def _with_batches(wanted: int, losses: Losses, confidence: float) -> int:
    mean = wanted / losses.mean_yield
    most = math.ceil(mean + 3 * math.sqrt(losses.variance(math.ceil(mean))) / losses.mean_yield + losses.batches[0].starts)
    while True:
        chances = chances_of_enough(most=most, wanted=wanted, losses=losses)
        if chances[-1] >= confidence:
            return wanted + int(np.searchsorted(chances, confidence))
        most *= 2


def _filled(*, least: int, wanted: int, confidence: float, losses: Losses, worth: Worth) -> int:
    """The number to start: `least`, or one that fills a block or a run, whichever costs less with the risk of falling short.

    Notes:
        A lot of n costs its minutes and glass, and with the chance 1 - P(n) a lot made again for what is missing, taken as
        one good piece. When the risk that `least` leaves costs less than the pieces alone, nothing is weighed. Numbers that fill the last batch of an operation are weighed, up to a quarter more than `least`.
    """
    if wanted <= 0 or losses.mean_yield >= 1:
        return least
    tried = sorted({least, *_full(least, worth)})
    if len(tried) == 1:
        return least
    again = worth.lot(math.ceil(1 / losses.mean_yield))
    if (1 - confidence) * again <= (tried[1] - least) * worth.each:
        return least
    short = 1 - chances_of_enough(most=tried[-1], wanted=wanted, losses=losses)[np.array(tried) - wanted]
    costs = [worth.lot(number) + again * float(missing) for number, missing in zip(tried, short, strict=True)]
    return tried[int(np.argmin(costs))]


def _full(least: int, worth: Worth) -> set[int]:
    """Numbers to start, more than `least`, with which the last batch of an operation is full."""
    numbers = set()
    for step in worth.in_batches:
        batches = math.ceil(least * step.reach / step.batch_size - 1e-9)
        number = math.floor(batches * step.batch_size / step.reach + 1e-9)
        if least < number <= least * (1 + FURTHEST_FILL):
            numbers.add(number)
    return numbers
