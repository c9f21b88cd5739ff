"""How many must be started so that enough good ones come out?"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from scipy.special import betainc

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
    below, enough = wanted - 1, math.ceil(wanted / yield_share)
    while chance_of_enough(started=enough, wanted=wanted, yield_share=yield_share) < confidence:
        below, enough = enough, 2 * enough
    while enough - below > 1:
        middle = (below + enough) // 2
        if chance_of_enough(started=middle, wanted=wanted, yield_share=yield_share) >= confidence:
            enough = middle
        else:
            below = middle
    return enough


def _with_batches(wanted: int, losses: Losses, confidence: float) -> int:
    mean = wanted / losses.mean_yield
    most = math.ceil(mean + 3 * math.sqrt(losses.variance(math.ceil(mean))) / losses.mean_yield + losses.batches[0].starts)
    while True:
        chances = chances_of_enough(most=most, wanted=wanted, losses=losses)
        if chances[-1] >= confidence:
            return wanted + int(np.searchsorted(chances, confidence))
        most *= 2
