"""How a part may turn out: every way to lose batches and pieces, with its chance and what it costs beyond the plan."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import gammaln

from services.quoting.risk.losses import Losses, left_after_batches
from services.quoting.risk.worth import Worth

WIDTH = 5.0
"""Numbers of good pieces further than so many standard deviations from the mean are left out."""
FINEST = 60
"""No more numbers of good pieces than this to each side of a mean are told apart; of large lots every second, third …"""


@dataclass(frozen=True)
class Outcomes:
    """Ways a lot may turn out. Arrays of shape (k,): chance (sum 1), good pieces, cost beyond the plan (mean of those that fall not short is 0)."""

    chance: np.ndarray
    good: np.ndarray
    cost: np.ndarray
    needed: int
    from_batches: float
    from_pieces: float

    @property
    def mean_cost(self) -> float:
        """Expected cost beyond the plan."""
        return float(self.chance @ self.cost)

    @property
    def spares(self) -> float:
        """Expected good pieces beyond those needed."""
        return float(self.chance @ np.maximum(self.good - self.needed, 0))

    @property
    def enough(self) -> float:
        """Chance that nothing has to be made again, all losses counted."""
        return float(self.chance[self.good >= self.needed].sum())


def outcomes(*, started: int, needed: int, losses: Losses, worth: Worth) -> Outcomes:
    """How a lot of `started` pieces may turn out when `needed` must be good.

    Notes:
        The chance of g good pieces is the sum over the ways to lose batches of chance x Bin(g; pieces left, y). A lost batch
        has cost what was planned for it; each good piece beyond the mean of those left costs the operations that it alone
        goes through. What is missing is started again, ceil(missing / Y) pieces with their set-ups, once.
        `from_batches` and `from_pieces` are the two parts of the variance of the cost: of the mean of each way to lose
        batches, and about it.
    """
    left = left_after_batches(started=started, batches=losses.batches)
    expected = left.pieces * losses.yield_share
    good, weight = _good_out_of(left.pieces, losses.yield_share)
    cost = worth.spread_by_piece(losses, started=started) * (good - expected[:, None])
    short = good < needed
    if short.any():
        cost[short] += _made_again(needed - good[short], losses, worth)
    means = (weight * cost).sum(axis=1)
    squares = (weight * cost * cost).sum(axis=1)
    whole = float(left.chance @ means)
    return Outcomes(
        chance=(left.chance[:, None] * weight).ravel(),
        good=good.ravel(),
        cost=cost.ravel(),
        needed=needed,
        from_batches=max(float(left.chance @ (means * means)) - whole**2, 0.0),
        from_pieces=max(float(left.chance @ (squares - means * means)), 0.0),
    )


def _made_again(missing: np.ndarray, losses: Losses, worth: Worth) -> np.ndarray:
    """Cost of the lots that make good what is missing, 1 or more."""
    curve = worth.again
    return np.asarray(np.interp(np.ceil(missing / losses.mean_yield - 1e-9), curve.number, curve.cost))


def _good_out_of(pieces: np.ndarray, share: float) -> tuple[np.ndarray, np.ndarray]:
    """Numbers of good pieces about the mean of each row of pieces left, and their chances; each row of chances has the sum 1.

    Notes:
        Few pieces left spread less than many: each row has a stride of its own, or what is left of a row would be counted
        as often as the stride of the widest is long.
    """
    half = np.ceil(WIDTH * np.sqrt(pieces * share * (1 - share))).astype(int) + 1
    stride = 1 + half // FINEST
    furthest = int((half // stride).max())
    good = np.rint(pieces * share).astype(int)[:, None] + stride[:, None] * np.arange(-furthest, furthest + 1)
    weight = _binomial(good, pieces, share, int(stride.max()) * furthest)
    return good, weight / weight.sum(axis=1, keepdims=True)


@lru_cache(maxsize=16)
def _log_factorials(most: int) -> np.ndarray:
    """ln n! for n from -most to 2 most; endless below 0, where the chance of anything is 0."""
    return np.concatenate((np.full(most, np.inf), gammaln(np.arange(2 * most + 1) + 1.0)))


def _binomial(good: np.ndarray, out_of: np.ndarray, share: float, half: int) -> np.ndarray:
    """Bin(good; out_of, share) for rows of `good`, 0 outside; `half` is how far rows go to either side."""
    if share >= 1:
        return np.where(good == out_of[:, None], 1.0, 0.0)
    zero = 1 << (int(out_of.max()) + half).bit_length()
    log = _log_factorials(zero)
    lost = out_of[:, None] - good
    certain = log[out_of + zero] + out_of * math.log1p(-share)
    odds = math.log(share) - math.log1p(-share)
    return np.asarray(np.exp(certain[:, None] + good * odds - log[good + zero] - log[lost + zero]))
