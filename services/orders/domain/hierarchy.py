"""What is believed of cells that lie in groups, and of groups about a common centre, when each cell has an estimate with an error.

theta_jk ~ N(phi_j, tau_cell), phi_j ~ N(0, tau_group), y_jk ~ N(theta_jk, v_jk). Neither spread is known: both are summed over.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from services.orders.domain.robust import Floats, Ints
from services.orders.errors import NothingToLearnFrom

UNSEEN = 1e6
"""The variance of a cell that no job was done in."""
BISECTIONS = 18
REACH = 8.0
"""Quantiles are looked for within so many standard deviations."""


@dataclass(frozen=True)
class Spreads:
    """Pairs of spreads: of the cells about their group, and of the groups about the centre; infinite where the centre is not known."""

    cell: Floats
    group: Floats


@dataclass(frozen=True)
class GivenSpreads:
    """What is believed for each pair of spreads (last axis): of cells, of groups, and how well each group goes with the pair.

    `cell = own_share * estimate + (1 - own_share) * group`.
    """

    own_share: Floats
    cell_means: Floats
    cell_variances: Floats
    group_means: Floats
    group_variances: Floats
    log_likelihoods: Floats


@dataclass(frozen=True)
class Mixture:
    """Normal distributions (last axis) with their weights, one mixture to a row."""

    means: Floats
    deviations: Floats
    weights: Floats

    @property
    def mean(self) -> Floats:
        """The mean of each."""
        return np.asarray(self.means @ self.weights)

    def quantile(self, share: float) -> Floats:
        """The value of each row below which so much of the probability lies, by bisection."""
        middle = self.mean
        variances = (self.deviations**2 + (self.means - middle[:, None]) ** 2) @ self.weights
        reach = REACH * np.sqrt(variances)
        low, high = middle - reach, middle + reach
        for _ in range(BISECTIONS):
            tried = (low + high) / 2
            below = ndtr((tried[:, None] - self.means) / self.deviations) @ self.weights < share
            low, high = np.where(below, tried, low), np.where(below, high, tried)
        return np.asarray((low + high) / 2)


def even_spreads(*, most_cell: float, most_group: float | None, cells: int, groups: int) -> Spreads:
    """All pairs of spreads from 0 to the most, none likelier than another beforehand; without a most of groups, their centre is not known."""
    of_cells = (np.arange(cells) + 0.5) * (most_cell / cells)
    of_groups = np.array([np.inf]) if most_group is None else (np.arange(groups) + 0.5) * (most_group / groups)
    cell, group = np.meshgrid(of_cells, of_groups, indexing="ij")
    return Spreads(cell.ravel(), group.ravel())


def given_spreads(estimates: Floats, variances: Floats, begins: Ints, spreads: Spreads) -> GivenSpreads:
    """What is believed of cells and groups for each pair of spreads.

    Args:
        estimates: y of each cell, group by group.
        variances: v of each.
        begins: the place of the first cell of each group.
        spreads: tau_cell and tau_group.

    Raises:
        NothingToLearnFrom: for no cell, or for variances that are not above 0.

    Notes:
        With u = v + tau_cell**2, a group's own estimate is y_j = sum(y / u) / sum(1 / u), of variance V = 1 / sum(1 / u). It is drawn
        towards the centre: phi_j ~ N(w y_j, w V) with w = tau_group**2 / (V + tau_group**2). A cell given phi is a y + (1 - a) phi with
        a = tau_cell**2 / u, of variance a v. The likelihood of the spreads is that of y with theta and phi integrated out.

    Source:
        A. Gelman, J. Carlin, H. Stern, D. Dunson, A. Vehtari, D. Rubin, Bayesian Data Analysis, 3rd ed. (2013), section 5.4, equations 5.17
        to 5.21, one level more; A. Gelman, J. Hill, Data Analysis Using Regression and Multilevel Models (2007), chapter 12;
        B. Efron, C. Morris, J. American Statistical Association 70 (1975) 311; D. Rubin, J. Educational Statistics 6 (1981) 377. From memory.
    """
    if not len(estimates) or not bool(np.all(variances > 0)):
        raise NothingToLearnFrom
    y, v = estimates[:, None], variances[:, None]
    cell2 = spreads.cell[None, :] ** 2
    u = v + cell2
    precision = np.add.reduceat(1 / u, begins, axis=0)
    own = np.add.reduceat(y / u, begins, axis=0) / precision
    group2 = np.minimum(spreads.group[None, :] ** 2, 1e12)
    drawn = group2 / (1 / precision + group2)
    group_means, group_variances = drawn * own, drawn / precision
    sizes = np.diff(np.append(begins, len(estimates)))
    share = cell2 / u
    means = share * y + (1 - share) * np.repeat(group_means, sizes, axis=0)
    whole = share * v + (1 - share) ** 2 * np.repeat(group_variances, sizes, axis=0)
    log_p = -0.5 * np.add.reduceat(np.log(u) + y**2 / u, begins, axis=0) + 0.5 * (own**2 * precision - np.log(precision))
    log_p = log_p - 0.5 * (np.log(1 / precision + group2) + own**2 / (1 / precision + group2))
    return GivenSpreads(share, means, whole, group_means, group_variances, log_p)


def likeliest(log_likelihoods: Floats, *, least: float) -> tuple[Ints, Floats]:
    """The pairs of spreads that are at least this likely beside the likeliest, and their weights; all groups together say so."""
    whole = np.sum(log_likelihoods, axis=0)
    weights = np.exp(whole - np.max(whole))
    kept = np.flatnonzero(weights >= least)
    return kept, weights[kept] / np.sum(weights[kept])
