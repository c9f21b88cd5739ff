"""The number of imperfections counts: N A^2 is what a face may show."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.optics.drawing.imperfections import equal_grade_mm


@given(count=st.integers(1, 99), grade=st.floats(0.004, 4.0))
def test_three_of_the_equal_grade_cover_as_much(count: int, grade: float) -> None:
    assert 3 * equal_grade_mm(count=count, grade_mm=grade) ** 2 == pytest.approx(count * grade**2)


@given(count=st.integers(1, 98), grade=st.floats(0.004, 4.0))
def test_more_or_larger_ones_are_easier(count: int, grade: float) -> None:
    asked = equal_grade_mm(count=count, grade_mm=grade)
    assert equal_grade_mm(count=count + 1, grade_mm=grade) > asked
    assert equal_grade_mm(count=count, grade_mm=1.01 * grade) == pytest.approx(1.01 * asked)


def test_three_are_planned_by_their_own_grade() -> None:
    assert equal_grade_mm(count=3, grade_mm=0.16) == pytest.approx(0.16, rel=1e-12)


# Steps of the grades of ISO 10110-7 are 10^(1/5), from memory: two of a grade cover as much as five of the grade two steps finer.
def test_two_of_a_grade_are_five_of_the_grade_two_steps_finer() -> None:
    assert equal_grade_mm(count=2, grade_mm=0.16) == pytest.approx(equal_grade_mm(count=5, grade_mm=0.1), rel=0.02)
