"""Partial pooling against the worked example of its textbook: the coaching of eight schools.

Data and posterior: Gelman et al., Bayesian Data Analysis, section 5.5, tables 5.2 and 5.3 (Rubin 1981); the posterior means as they are
usually published with the example. From memory.
"""

from __future__ import annotations

import pytest

from services.orders.domain.learning import partial_pooling
from services.orders.errors import NothingToLearnFrom

EFFECTS = (28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0)
ERRORS = (15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0)
MEANS = (11.4, 7.9, 6.1, 7.6, 5.1, 6.1, 10.6, 8.5)
MEDIANS = (10.0, 8.0, 7.0, 8.0, 5.0, 6.0, 10.0, 8.0)


def test_eight_schools_come_to_the_published_posterior() -> None:
    pooled = partial_pooling(estimates=EFFECTS, standard_errors=ERRORS, centre=None, most_spread=60.0)
    assert pooled.mean == pytest.approx(MEANS, abs=0.8)
    assert pooled.quantile(0.5) == pytest.approx(MEDIANS, abs=1.0)
    assert pooled.quantile(0.975)[0] == pytest.approx(31.0, abs=3.0)
    assert pooled.quantile(0.025)[0] == pytest.approx(-2.0, abs=2.0)


def test_a_known_centre_draws_towards_it_and_a_small_error_holds_against_it() -> None:
    pooled = partial_pooling(estimates=(1.0, 1.0), standard_errors=(0.01, 10.0), centre=0.0, most_spread=2.0)
    assert pooled.mean[0] == pytest.approx(1.0, abs=0.001)
    assert 0 < pooled.mean[1] < 0.1


def test_an_estimate_without_an_error_is_refused() -> None:
    with pytest.raises(NothingToLearnFrom):
        partial_pooling(estimates=(1.0,), standard_errors=(0.0,), centre=0.0, most_spread=1.0)
