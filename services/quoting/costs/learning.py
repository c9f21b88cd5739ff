"""How the time of repeated handwork falls with the number made."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from shared_schemas.operations import Operation
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import WorkCentreRow


def learning_exponent(learning_rate: float) -> float:
    """b = log2(LR), where LR is the share of the time that is left when the number made doubles, over 0 and up to 1."""
    if not 0 < learning_rate <= 1:
        raise FigureOutOfRange("learning rate", learning_rate, "over 0 and up to 1")
    return math.log2(learning_rate)


@dataclass(frozen=True)
class Learning:
    """How handwork gets faster: by the unit curve with `rate`, up to `after` pieces; from there on each takes as long as the last.

    Notes:
        Of the two laws the unit curve is taken, U_n = U_1 n^b: minutes of a route card are those of one piece, and it promises
        less than the curve of averages.

    Source: J. R. Crawford (1944), from memory.
    """

    rate: float = 1.0
    after: int = 1

    @cached_property
    def _totals(self) -> np.ndarray:
        units = np.arange(1, self.after + 1) ** learning_exponent(self.rate)
        return np.concatenate(([0.0], np.cumsum(units)))

    @cached_property
    def last(self) -> float:
        """Time of a piece once all is learned, as a share of the first."""
        return float(self.after ** learning_exponent(self.rate))

    def total(self, number: int) -> float:
        """Time of the first `number` pieces together, in times of the first."""
        if self.rate >= 1:
            return float(number)
        return float(self._totals[min(number, self.after)]) + max(number - self.after, 0) * self.last

    def totals(self, number: np.ndarray) -> np.ndarray:
        """Time of the first pieces together, in times of the first; any shape, read between whole numbers."""
        if self.rate >= 1:
            return number
        learned = np.interp(number, np.arange(self.after + 1), self._totals)
        return np.asarray(learned + np.maximum(number - self.after, 0.0) * self.last)

    def unit(self, number: float) -> float:
        """Time of the piece after `number` pieces, as a share of the first."""
        return float(min(max(number, 1.0), self.after) ** learning_exponent(self.rate))


NOTHING_LEARNED = Learning()


@lru_cache(maxsize=256)
def _learning(rate: float, after: int) -> Learning:
    return Learning(rate, after)


def learning_of(operation: Operation, centre: WorkCentreRow) -> Learning:
    """What is learned at an operation: by its work centre's row, where pieces go one at a time through a person's hands."""
    if centre.learning_share >= 1 or operation.batch_size > 1:
        return NOTHING_LEARNED
    return _learning(centre.learning_share, centre.learned_after)
