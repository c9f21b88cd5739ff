"""The tolerances of a drawing that states none: ISO 10110-11, by the largest dimension of the part.

From memory, after the 1996 and 2016 editions; a third edition was published in March 2025. Check the licensed text.
"""

from __future__ import annotations

from dataclasses import dataclass

SOURCE = "ISO 10110-11, from memory, check the licensed text"


@dataclass(frozen=True)
class DefaultTolerances:
    """One column of the table: for parts over one size and up to another [mm]."""

    up_to_mm: float
    diameter_mm: float
    thickness_mm: float
    power_fringes: float
    irregularity_fringes: float
    centring_arcmin: float
    imperfection_count: int
    imperfection_grade_mm: float


TABLE: tuple[DefaultTolerances, ...] = (
    DefaultTolerances(10.0, 0.2, 0.1, 5.0, 1.0, 30.0, 3, 0.16),
    DefaultTolerances(30.0, 0.5, 0.2, 10.0, 2.0, 20.0, 5, 0.25),
    DefaultTolerances(100.0, 1.0, 0.4, 10.0, 2.0, 10.0, 5, 0.4),
    DefaultTolerances(300.0, 1.5, 0.8, 10.0, 2.0, 10.0, 5, 0.63),
)


def defaults_for(largest_dimension_mm: float) -> DefaultTolerances:
    """The column for a part of that size; the last one for anything larger than the table goes."""
    return next((column for column in TABLE if largest_dimension_mm <= column.up_to_mm), TABLE[-1])
