"""In which draws the lot of a part gives too few, when that is found out, and how many are made again then."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from services.quoting.risk.draws import as_drawn
from services.quoting.risk.orders import DATED, DRAWS, Orders
from services.quoting.risk.outcomes import Outcomes

Numbers = npt.NDArray[np.float64]
Draws = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Shortfall:
    """Of the draws that dates are worked out of, shape (1 000,): in which a lot is short `at_once`, as it comes out of its route, and in which only
    `at_the_end`, when lenses or groups made of it were lost. `lot` are the pieces that are started again then."""

    at_once: Draws
    at_the_end: Draws
    lot: int

    @property
    def chance(self) -> float:
        """Share of the draws in which something is made again."""
        return float((self.at_once | self.at_the_end).mean())


def element_shortfall(
    part: str, outcome: Outcomes, demand: tuple[Numbers, Numbers], *, started: int, good_share: float, orders: Orders
) -> Shortfall | None:
    """When the lot of an element falls short of what is taken of it: `demand` are numbers and their chances. `None` where it never does.

    Notes: how many good pieces come out is drawn as for the cost. What is taken is drawn alike for all elements, as the same lenses
    and groups take them.
    """
    numbers, chance = demand
    rising = np.argsort(numbers, kind="stable")
    wanted = as_drawn(chance[rising] / chance.sum(), numbers[rising])[orders.of("what is taken of elements")[:DATED]]
    good = as_drawn(outcome.chance, outcome.good)[orders.of(f"losses of {part}")[:DATED]]
    short = good < wanted - 1e-6
    if not short.any():
        return None
    at_once = good < outcome.needed
    missing = float((wanted - good)[short].mean())
    return Shortfall(at_once, short & ~at_once, lot_again(missing=missing, good_share=good_share, started=started))


def lens_shortfall(part: str, *, enough: float, orders: Orders) -> Shortfall | None:
    """When so many lenses are lost that one more is put together after the last, out of spare parts; `enough` is the chance that none is.

    Notes: of groups as many are cemented in one lot as there are parts for, so that none is short while its parts are not.
    """
    short = orders.of(f"put together again: {part}")[:DATED] >= enough * DRAWS
    return Shortfall(np.asarray(short), np.zeros(DATED, dtype=bool), 1) if short.any() else None


def lot_again(*, missing: float, good_share: float, started: int) -> int:
    """Pieces that are started again for those missing; no more than the first time."""
    return max(min(math.ceil(missing / good_share - 1e-9), started), 1)


def chance_of_any(shortfalls: Mapping[str, Shortfall]) -> float:
    """Share of the draws in which anything is made again."""
    short = np.zeros(DATED, dtype=bool)
    for one in shortfalls.values():
        short |= one.at_once | one.at_the_end
    return float(short.mean())
