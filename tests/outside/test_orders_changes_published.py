"""The test of a change of the mean against the published critical values of its largest statistic.

H. Alexandersson, A Homogeneity Test Applied to Precipitation Data, J. Climatology 6 (1986) 661: T0 is the largest of s z1**2 + (n - s) z2**2, z1 and z2 the
means of standardised values before and after s. Its 95 % levels as they are usually tabulated: 6.95 for n = 20, 8.45 for 50, 9.15 for 100. From memory.
"""

from __future__ import annotations

import numpy as np
import pytest

from services.orders.domain.drift import as_normal, differences

LEVELS_95 = {20: 6.95, 50: 8.45, 100: 9.15}


def t0_of(student: np.ndarray, n: int) -> float:
    """T0 of the largest t: s z1**2 + (n - s) z2**2 = (n - 1) t**2 / (n - 2 + t**2), values standardised by the deviation of all n with n - 1."""
    largest = float(np.max(student**2))
    return (n - 1) * largest / (n - 2 + largest)


@pytest.mark.parametrize("n", [20, 50, 100])
def test_the_largest_difference_of_steady_values_is_beyond_the_published_level_in_one_case_of_twenty(n: int) -> None:
    draw = np.random.default_rng(n)
    splits = np.arange(1, n)
    largest = [t0_of(differences(draw.normal(size=n), splits, usual_scatter=0.0, usual_freedom=0.0)[0], n) for _ in range(4000)]
    beyond = float(np.mean(np.array(largest) > LEVELS_95[n]))
    assert beyond == pytest.approx(0.05, abs=0.012)


def test_student_s_t_is_turned_into_the_normal_value_of_its_probability() -> None:
    """Two-sided 95 %: 2.228 at ten degrees of freedom, and 1.960. Any table of Student's t."""
    assert as_normal(np.array([2.228, -2.228]), 10.0) == pytest.approx([1.960, -1.960], abs=0.001)
