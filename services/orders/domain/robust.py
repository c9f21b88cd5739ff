"""Where values of several cells lie and how far single ones scatter, so that one that went wrong moves little."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

HUBER_K = 1.345
"""Residuals beyond so many standard deviations count no more than those: 95 % as good as the mean for normal ones. P. J. Huber (1964); from memory."""
HUBER_EFFICIENCY = 0.95
CLIPPED_SQUARE = 0.7102
"""Mean of min(z**2, HUBER_K**2) of standard normal z: 2 (Phi(k) - 1/2 - k phi(k)) + 2 k**2 (1 - Phi(k)), computed."""
SCALE_EFFICIENCY = 0.66
"""So many degrees of freedom a squared residual is worth, clipped as above: 1 / (2 x 0.760), the asymptotic variance of the scale, computed."""
MOST_STEPS = 30
CLOSE = 1e-7


@dataclass(frozen=True)
class Scatter:
    """How far single values lie from the middle of their cell: of these values alone, and drawn towards what is usual.

    `freedom` are the degrees of freedom of `drawn`, `own_freedom` those of `own`.
    """

    own: float
    own_freedom: float
    drawn: float
    freedom: float


@dataclass(frozen=True)
class Cells:
    """The middle of each cell, the number of its values, the weight of each value, and the scatter that the cells have in common."""

    centres: Floats
    counts: Floats
    weights: Floats
    scatter: Scatter


def cells_of(values: Floats, cells: Ints, count: int, *, usual_scatter: float, usual_freedom: float) -> Cells:
    """Middle of each cell of values and their common scatter, found together.

    Args:
        values: in any order.
        cells: of each value the number of its cell.
        count: how many cells there are; a cell without a value lies at 0.
        usual_scatter: what the scatter is drawn towards, as if it had been seen with so much `usual_freedom`.

    Notes:
        Within its cell a value counts w = min(1, k / |z|), z its residual in scatters. The variance of single values is
        sum(min(z**2, k**2)) scatter**2 / (CLIPPED_SQUARE m), and drawn as a scaled inverse chi-squared prior would:
        (f0 s0**2 + f s**2) / (f0 + f) with f = SCALE_EFFICIENCY m. A middle that is found takes less than one from m where
        residuals are clipped: m is the sum of n - 1/2 - 1 / (2 (n - 1)) over the cells, right to 3 % from n = 2 on (simulated).

    Source:
        P. J. Huber, Robust Estimation of a Location Parameter, Annals of Mathematical Statistics 35 (1964) 73, proposal 2; the prior of the
        variance: Gelman et al., Bayesian Data Analysis, 3rd ed. (2013), section 2.6, and G. K. Smyth, Linear Models and Empirical Bayes Methods,
        Statistical Applications in Genetics and Molecular Biology 3 (2004) 3. From memory.
    """
    counts = np.bincount(cells, minlength=count).astype(np.float64)
    centres = np.array([np.median(values[cells == cell]) if counts[cell] else 0.0 for cell in range(count)])
    several = counts[counts > 1]
    left = float(np.sum(several - 0.5 - 0.5 / (several - 1)))
    freedom = SCALE_EFFICIENCY * left
    scatter, own, weights = usual_scatter, 0.0, np.ones(len(values))
    for _ in range(MOST_STEPS):
        sizes = np.abs(values - centres[cells]) / scatter
        weights = np.minimum(1.0, HUBER_K / np.maximum(sizes, CLOSE))
        moved = np.bincount(cells, weights * values, minlength=count) / np.maximum(
            np.bincount(cells, weights, minlength=count), CLOSE
        )
        if left:
            own = scatter * sqrt(float(np.sum(np.minimum(sizes, HUBER_K) ** 2)) / (CLIPPED_SQUARE * left))
        drawn = sqrt((usual_freedom * usual_scatter**2 + freedom * own**2) / (usual_freedom + freedom))
        settled = abs(drawn - scatter) < CLOSE and float(np.max(np.abs(moved - centres), initial=0.0)) < CLOSE
        centres, scatter = moved, drawn
        if settled:
            break
    return Cells(centres, counts, weights, Scatter(own, freedom, scatter, usual_freedom + freedom))
