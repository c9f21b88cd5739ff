"""How many of one lot must be started so that enough good ones come out."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from scipy.special import betainc, nbdtrik

from services.quoting.risk.losses import Batches, Losses, chances_of_enough
from shared_schemas.problem import FigureOutOfRange

MOST_STARTED = 100_000_000
"""Beyond this a yield is taken as a slip of the pen; a thousand starts for each piece of the largest order."""


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
