"""The interval of a counted share against SciPy's and against a published table."""

from __future__ import annotations

import pytest
from scipy.stats import binomtest

from services.shop.proportions import NINETEEN_IN_TWENTY, counted_share, wilson_high, wilson_low

PUBLISHED = [
    # R. G. Newcombe, Two-sided confidence intervals for the single proportion: comparison of seven methods, Statistics in Medicine 17 (1998)
    # 857, table I, score method without continuity correction. From memory.
    (81, 263, 0.2553, 0.3662),
    (15, 148, 0.0624, 0.1605),
    (0, 20, 0.0, 0.1611),
    (1, 29, 0.0061, 0.1718),
]


@pytest.mark.parametrize(("wins", "tries", "low", "high"), PUBLISHED)
def test_the_interval_of_a_share_is_that_of_the_published_table(wins: int, tries: int, low: float, high: float) -> None:
    found = counted_share(wins, tries)
    assert (found.low, found.high) == (low, high)


@pytest.mark.parametrize("tries", [1, 2, 3, 7, 40, 1000])
def test_the_interval_of_a_share_is_that_of_scipy(tries: int) -> None:
    for wins in {0, 1, tries // 3, tries // 2, tries - 1, tries}:
        ours = [one(wins=wins, tries=tries, deviations=NINETEEN_IN_TWENTY) for one in (wilson_low, wilson_high)]
        theirs = binomtest(wins, tries).proportion_ci(confidence_level=0.95, method="wilson")
        assert ours == pytest.approx([theirs.low, theirs.high], abs=1e-12)
