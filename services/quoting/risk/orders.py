"""In which order each uncertain thing takes its values: the draws that cost and date share.

A Latin hypercube: of each thing that is uncertain every ten-thousandth of its distribution is drawn once, in an order of its
own. Source: M. D. McKay, R. J. Beckman, W. J. Conover (1979), from memory.
"""

from __future__ import annotations

import hashlib
import math
from functools import cache, lru_cache

import numpy as np
from scipy.special import ndtri

DRAWS = 10_000
DATED = 1_000
"""The draws that dates are worked out of: the first thousand, which of everything uncertain take every tenth value."""
SEED = 20_261_130
"""One seed for all quotes: two of them differ by what they are and not by chance, whatever lens or quantity was asked for."""


class Orders:
    """The order in which each uncertain thing takes its values, by its name; the same for every quantity, lens and day."""

    def __init__(self, seed: int = SEED) -> None:
        self.seed = seed
        self._factors: dict[tuple[str, float], np.ndarray] = {}

    def of(self, name: str) -> np.ndarray:
        """A permutation of the draws, shape (10 000,), another for each name; each thousand of them takes every tenth value once."""
        return _order(self.seed, name)

    def factors(self, name: str, variation: float) -> np.ndarray:
        """Log-normal factors, mean 1, in the order of that name."""
        key = (name, variation)
        if key not in self._factors:
            self._factors[key] = skewed(variation)[self.of(name)]
        return self._factors[key]


def generator_for(seed: int, name: str) -> np.random.Generator:
    """A generator that hangs on a name alone."""
    return np.random.default_rng([seed, int.from_bytes(hashlib.blake2b(name.encode(), digest_size=8).digest(), "big")])


@lru_cache(maxsize=1024)
def _order(seed: int, name: str) -> np.ndarray:
    generator = generator_for(seed, name)
    thousands = DRAWS // DATED
    tens = generator.permuted(np.tile(np.arange(DATED), (thousands, 1)), axis=1)
    ones = generator.permuted(np.tile(np.arange(thousands), (DATED, 1)), axis=1)
    order: np.ndarray = (thousands * tens + ones[tens, np.arange(thousands)[:, None]]).ravel().astype(np.uint16)
    order.flags.writeable = False
    return order


@lru_cache(maxsize=64)
def skewed(variation: float) -> np.ndarray:
    """Log-normal factors of mean 1 and that coefficient of variation, one from the middle of each of the equal shares.

    Notes:
        exp(s z - s^2 / 2), s^2 = ln(1 + variation^2); scaled by their own mean, which the outermost shares lower a little.
    """
    spread = math.sqrt(math.log1p(variation**2))
    factors = np.exp(spread * ndtri((np.arange(DRAWS) + 0.5) / DRAWS))
    return np.asarray(factors / factors.mean())


BASES = 32


@cache
def _bases() -> np.ndarray:
    """Permutations that all others are made of, shape (32, 1 000)."""
    generator = np.random.default_rng(SEED)
    return np.array([generator.permutation(DATED) for _ in range(BASES)])


def dated_order(name: str) -> np.ndarray:
    """A permutation of the draws of a date by its name, shape (1 000,): one of the bases turned by some places, through another."""
    number = int.from_bytes(hashlib.blake2b(name.encode(), digest_size=8).digest(), "big")
    first, second, turn = number % BASES, number // BASES % BASES, number // BASES**2 % DATED
    return np.asarray(_bases()[first][(_bases()[second] + turn) % DATED])
