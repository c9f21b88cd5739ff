"""Is it cheaper to fill a block or a run up than to risk making a few pieces again?"""

from __future__ import annotations

import math

import numpy as np

from services.quoting.risk.losses import Losses, chances_of_enough
from services.quoting.risk.worth import Worth

FURTHEST_FILL = 0.25
"""No more than this share of the lot is added to fill a block: the pieces would lie in the store (common practice)."""


def filled(*, least: int, wanted: int, confidence: float, losses: Losses, worth: Worth) -> int:
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
    found = set()
    for step in worth.in_batches:
        batches = math.ceil(least * step.reach / step.batch_size - 1e-9)
        number = math.floor(batches * step.batch_size / step.reach + 1e-9)
        if least < number <= least * (1 + FURTHEST_FILL):
            found.add(number)
    return found
