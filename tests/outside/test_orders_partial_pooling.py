"""Partial pooling against the worked examples of its textbooks: the coaching of eight schools, and the batting of eighteen players.

Schools: data and posterior of Gelman et al., Bayesian Data Analysis, section 5.5, tables 5.2 and 5.3 (Rubin 1981); the posterior means as they are
usually published with the example; from memory. Players: batting averages of 1970 after 45 at bats and in the rest of the season, B. Efron, C. Morris, Data
Analysis Using Stein's Estimator and Its Generalizations, J. American Statistical Association 70 (1975) 311, as the R package pscl has them
(`EfronMorris`); the estimates of James and Stein from memory of the same and of Scientific American 236 (1977) 119.
"""

from __future__ import annotations

import numpy as np
import pytest

from services.orders.domain.hierarchy import Mixture, even_spreads, given_spreads, likeliest
from services.orders.errors import NothingToLearnFrom

EFFECTS = (28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0)
ERRORS = (15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0)
MEANS = (11.4, 7.9, 6.1, 7.6, 5.1, 6.1, 10.6, 8.5)
MEDIANS = (10.0, 8.0, 7.0, 8.0, 5.0, 6.0, 10.0, 8.0)

AFTER_45 = (
    0.400, 0.378, 0.356, 0.333, 0.311, 0.311, 0.289, 0.267, 0.244, 0.244, 0.222, 0.222, 0.222, 0.222, 0.222, 0.200, 0.178, 0.156,
)  # fmt: skip
REST_OF_SEASON = (
    0.346, 0.298, 0.276, 0.222, 0.273, 0.270, 0.263, 0.210, 0.269, 0.230, 0.264, 0.256, 0.303, 0.264, 0.226, 0.285, 0.316, 0.200,
)  # fmt: skip
JAMES_STEIN = (
    0.290, 0.286, 0.281, 0.277, 0.273, 0.273, 0.268, 0.264, 0.259, 0.259, 0.254, 0.254, 0.254, 0.254, 0.254, 0.249, 0.244, 0.239,
)  # fmt: skip


def pooled(estimates: tuple[float, ...], errors: tuple[float, ...], *, most_spread: float) -> Mixture:
    """Cells of one group of which the centre is not known."""
    spreads = even_spreads(most_cell=most_spread, most_group=None, cells=60, groups=1)
    given = given_spreads(np.array(estimates), np.array(errors) ** 2, np.array([0]), spreads)
    kept, weights = likeliest(given.log_likelihoods, least=1e-4)
    return Mixture(given.cell_means[:, kept], np.sqrt(given.cell_variances[:, kept]), weights)


def test_eight_schools_come_to_the_published_posterior() -> None:
    schools = pooled(EFFECTS, ERRORS, most_spread=60.0)
    assert schools.mean == pytest.approx(MEANS, abs=0.8)
    assert schools.quantile(0.5) == pytest.approx(MEDIANS, abs=1.0)
    assert schools.quantile(0.975)[0] == pytest.approx(31.0, abs=3.0)
    assert schools.quantile(0.025)[0] == pytest.approx(-2.0, abs=2.0)


def test_batting_averages_are_drawn_as_far_as_by_james_and_stein_and_foretell_the_season_better() -> None:
    """Their factor 0.212 is one estimate of what is summed over here: 1 - 15 variance / sum of squares, variance that of the binomial at the grand mean."""
    mean = float(np.mean(AFTER_45))
    error = (mean * (1 - mean) / 45) ** 0.5
    players = pooled(AFTER_45, (error,) * 18, most_spread=0.2)
    assert players.mean == pytest.approx(JAMES_STEIN, abs=0.025)
    ours, raw = (float(np.sum(np.subtract(each, REST_OF_SEASON) ** 2)) for each in (players.mean, AFTER_45))
    assert raw / ours > 2.0, "theirs is 3.5 times as near"


def test_a_known_centre_draws_towards_it_and_a_small_error_holds_against_it() -> None:
    spreads = even_spreads(most_cell=1e-9, most_group=2.0, cells=1, groups=40)
    given = given_spreads(np.array([1.0, 1.0]), np.array([0.01, 10.0]) ** 2, np.array([0, 1]), spreads)
    kept, weights = likeliest(given.log_likelihoods, least=1e-4)
    near, far = Mixture(given.cell_means[:, kept], np.sqrt(given.cell_variances[:, kept]), weights).mean
    assert near == pytest.approx(1.0, abs=0.001)
    assert 0 < far < 0.1


def test_an_estimate_without_an_error_is_refused() -> None:
    spreads = even_spreads(most_cell=1.0, most_group=1.0, cells=2, groups=2)
    with pytest.raises(NothingToLearnFrom):
        given_spreads(np.array([1.0]), np.array([0.0]), np.array([0]), spreads)
