"""How sure a share is that was counted: so many of so few."""

from __future__ import annotations

import math
from dataclasses import dataclass

from services.optics.law import law

NINETEEN_IN_TWENTY = 1.959963984540054
"""Standard deviations of a normal distribution within which 95 in 100 lie."""


@law
def wilson_low(*, wins: int, tries: int, deviations: float) -> float:
    """The lower end of the interval of a share that was counted as `wins` of `tries`.

    Equation: max(0, (wins + deviations**2 / 2 - deviations * sqrt(wins * (tries - wins) / tries + deviations**2 / 4)) / (tries + deviations**2))
    Source: E. B. Wilson, Probable Inference, the Law of Succession, and Statistical Inference, J. American Statistical Association 22 (1927) 209
    """
    middle, half = _middle(wins, deviations), _half(wins, tries, deviations)
    return max(0.0, (middle - half) / (tries + deviations**2))


@law
def wilson_high(*, wins: int, tries: int, deviations: float) -> float:
    """The upper end of the interval of a share that was counted as `wins` of `tries`.

    Equation: min(1, (wins + deviations**2 / 2 + deviations * sqrt(wins * (tries - wins) / tries + deviations**2 / 4)) / (tries + deviations**2))
    Source: E. B. Wilson, Probable Inference, the Law of Succession, and Statistical Inference, J. American Statistical Association 22 (1927) 209
    """
    middle, half = _middle(wins, deviations), _half(wins, tries, deviations)
    return min(1.0, (middle + half) / (tries + deviations**2))


def _middle(wins: int, deviations: float) -> float:
    return wins + deviations**2 / 2


def _half(wins: int, tries: int, deviations: float) -> float:
    return deviations * math.sqrt(wins * (tries - wins) / tries + deviations**2 / 4)


@dataclass(frozen=True)
class CountedShare:
    """A share that was counted, and the interval in which the true one lies 95 times in 100."""

    share: float
    low: float
    high: float


def counted_share(wins: int, tries: int) -> CountedShare:
    """So many of so many, at least one; to four decimals."""
    low = wilson_low(wins=wins, tries=tries, deviations=NINETEEN_IN_TWENTY)
    high = wilson_high(wins=wins, tries=tries, deviations=NINETEEN_IN_TWENTY)
    return CountedShare(round(wins / tries, 4), round(low, 4), round(high, 4))
