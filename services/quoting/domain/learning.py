"""How the time of repeated handwork falls with the number made. The two laws differ; a caller says which it means."""

from __future__ import annotations

import math

import numpy as np

from services.quoting.errors import FigureOutOfRange


def learning_exponent(learning_rate: float) -> float:
    """b = log2(LR), where LR is the share of the time that is left when the number made doubles, over 0 and up to 1."""
    if not 0 < learning_rate <= 1:
        raise FigureOutOfRange("learning rate", learning_rate, "over 0 and up to 1")
    return math.log2(learning_rate)


def wright_total(*, first_min: float, learning_rate: float, number: int) -> float:
    """Time of the first `number` units together [min], when the average of all made so far follows the curve.

    Notes:
        A_n = A_1 n^b, so the total is A_1 n^(1 + b).

    Source: T. P. Wright (1936), cumulative average, from memory.
    """
    return first_min * float(number ** (1 + learning_exponent(learning_rate)))


def crawford_total(*, first_min: float, learning_rate: float, number: int) -> float:
    """Time of the first `number` units together [min], when each single unit follows the curve.

    Notes:
        U_n = U_1 n^b; the total is their sum, not its integral.

    Source: J. R. Crawford (1944), unit curve, from memory.
    """
    return first_min * float(np.sum(np.arange(1, number + 1) ** learning_exponent(learning_rate)))
