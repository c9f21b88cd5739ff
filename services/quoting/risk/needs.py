"""How many sets must be taken in hand until enough come out good, and how likely a lot is to give so many good pieces."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import betainc, ndtr, ndtri

from services.quoting.risk.losses import LeftOver, Losses, left_after_batches

Numbers = npt.NDArray[np.float64]

NODES = 32
"""Different needs that are told apart; more of them are drawn together into so many, each of an equal share and at its mean."""
FURTHEST = 1e-7
"""Needs that are less likely than this together are left out."""
EXACT_UP_TO = 600
"""Lots with batches that may be lost are counted exactly up to this size; the good pieces of larger ones are taken as normal, with the mean and variance of the exact count."""


@dataclass(frozen=True)
class Need:
    """How many pieces are taken until enough are good: numbers and their chances, which have the sum 1; shape (k,)."""

    pieces: Numbers
    chance: Numbers

    @property
    def mean(self) -> float:
        """Pieces taken in the mean."""
        return float(self.pieces @ self.chance)


@lru_cache(maxsize=4096)
def left_of(losses: Losses, started: int) -> LeftOver:
    """The ways a lot loses batches, remembered."""
    return left_after_batches(started=started, batches=losses.batches)


def good_at_least(*, started: int, wanted: Numbers, losses: Losses) -> Numbers:
    """P(at least so many of `started` come out good), for any shape of `wanted`, real numbers read between whole ones.

    Notes: sum over the ways to lose batches of chance x I_y(x, n - x + 1); of large lots with batches Phi((n Y - x + 1/2) / sd).
    Source: the tail as incomplete beta function: Abramowitz & Stegun 26.5.24, from memory.
    """
    if started > EXACT_UP_TO and losses.batches:
        spread = math.sqrt(max(losses.variance(started), 1e-12))
        return np.asarray(ndtr((started * losses.mean_yield - wanted + 0.5) / spread))
    left = left_of(losses, started)
    rest = left.pieces - wanted[..., None]
    if losses.yield_share >= 1:
        tails = np.where(rest >= 0, 1.0, 0.0)
    else:
        tails = np.where(
            rest >= 0, betainc(np.maximum(wanted[..., None], 1e-9), np.maximum(rest, 0.0) + 1.0, losses.yield_share), 0.0
        )
        tails = np.where(wanted[..., None] <= 0, 1.0, tails)
    return np.asarray(tails @ left.chance)


def missing_in_the_mean(*, started: int, wanted: float, losses: Losses) -> float:
    """Mean of the good pieces that are missing, 0 where enough come out: E[(x - G)+].

    Notes: of n pieces left, x P(G < x) - n y P(Bin(n - 1, y) < x - 1); of large lots sd (z Phi(z) + phi(z)), z = (x - n Y) / sd.
    Source: derived; the partial expectation of the binomial distribution.
    """
    if started > EXACT_UP_TO and losses.batches:
        spread = math.sqrt(max(losses.variance(started), 1e-12))
        z = (wanted - started * losses.mean_yield) / spread
        return float(spread * (z * ndtr(z) + math.exp(-z * z / 2) / math.sqrt(2 * math.pi)))
    left, share = left_of(losses, started), losses.yield_share
    below = 1 - _tail(left.pieces, wanted, share)
    below_one_fewer = 1 - _tail(left.pieces - 1, wanted - 1, share)
    return float(np.maximum(wanted * below - left.pieces * share * below_one_fewer, 0.0) @ left.chance)


def _tail(out_of: np.ndarray, wanted: float, share: float) -> Numbers:
    if wanted <= 0:
        return np.ones(len(out_of))
    rest = out_of - wanted
    if share >= 1:
        return np.where(rest >= 0, 1.0, 0.0)
    return np.asarray(np.where(rest >= 0, betainc(wanted, np.maximum(rest, 0.0) + 1.0, share), 0.0))


@lru_cache(maxsize=4096)
def need_of(*, wanted: float, losses: Losses) -> Need:
    """How many must be taken in hand one after the other until `wanted` are good: P(need <= m) = P(at least Q of m are good).

    Notes: needs beyond 32 numbers are drawn together; for over 600 pieces the number is taken as normal.
    """
    if losses.mean_yield >= 1 or wanted <= 0:
        return Need(np.array([float(wanted)]), np.ones(1))
    mean = wanted / losses.mean_yield
    spread = math.sqrt(losses.variance(1) * mean) / losses.mean_yield
    if mean + 6 * spread > EXACT_UP_TO:
        places = (np.arange(NODES) + 0.5) / NODES
        return Need(np.maximum(mean + spread * ndtri(places), wanted), np.full(NODES, 1 / NODES))
    first, most = math.ceil(wanted), math.ceil(mean + 6 * spread) + 2
    while True:
        numbers = np.arange(first, most + 1)
        reached = _reached(numbers, wanted, losses)
        if reached[-1] > 1 - FURTHEST or most > EXACT_UP_TO:
            break
        most = 2 * most
    last = int(np.searchsorted(reached, 1 - FURTHEST)) + 1
    chance = np.diff(reached[:last], prepend=0.0)
    chance = np.maximum(chance, 0.0)
    return at_most(Need(numbers[:last].astype(float), chance / chance.sum()), NODES)


def _reached(numbers: npt.NDArray[np.int_], wanted: float, losses: Losses) -> Numbers:
    """P(at least so many are good) out of each of several numbers, as `good_at_least`: the ways of all of them at once."""
    exact = numbers <= EXACT_UP_TO if losses.batches else np.ones(len(numbers), dtype=bool)
    reached = np.empty(len(numbers))
    for place in np.flatnonzero(~exact):
        reached[place] = good_at_least(started=int(numbers[place]), wanted=np.array([wanted]), losses=losses)[0]
    lefts = [left_of(losses, int(number)) for number in numbers[exact]]
    if lefts:
        tails = _tail(np.concatenate([left.pieces for left in lefts]), wanted, losses.yield_share)
        ends = np.cumsum([len(left.pieces) for left in lefts])
        reached[exact] = np.add.reduceat(tails * np.concatenate([left.chance for left in lefts]), np.r_[0, ends[:-1]])
    return reached


def at_most(need: Need, most: int) -> Need:
    """A need with no more than so many different numbers: neighbours of equal share are drawn together, at their mean."""
    if len(need.pieces) <= most:
        return need
    group = np.minimum((np.cumsum(need.chance) - need.chance / 2) * most, most - 1).astype(int)
    chance = np.zeros(most)
    pieces = np.zeros(most)
    np.add.at(chance, group, need.chance)
    np.add.at(pieces, group, need.chance * need.pieces)
    held = chance > 0
    return Need(pieces[held] / chance[held], chance[held])
