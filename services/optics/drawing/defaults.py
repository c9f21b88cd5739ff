"""Default tolerances of ISO 10110-11 for what a drawing does not state. From memory: check the licensed text."""

from __future__ import annotations

from dataclasses import dataclass

from services.optics.errors import SizeOutsideDefaults

FROM_MEMORY = "ISO 10110-11, from memory, check the licensed text"


@dataclass(frozen=True)
class Defaults:
    """What a part up to a largest dimension takes where its drawing says nothing."""

    up_to_mm: float
    diameter_plus_minus_mm: float
    thickness_plus_minus_mm: float
    power_fringes: float
    irregularity_fringes: float
    centring_arcmin: float
    imperfection_count: int
    imperfection_grade_mm: float
    bubble_count: int
    bubble_grade_mm: float
    stress_nm_per_cm: float | None = None
    homogeneity_class: int | None = None
    striae_class: int | None = None


TABLE: tuple[Defaults, ...] = (
    Defaults(10.0, 0.2, 0.1, 5.0, 1.0, 30.0, 3, 0.16, 3, 0.16, 20.0, 1, 1),
    Defaults(30.0, 0.5, 0.2, 10.0, 2.0, 20.0, 5, 0.25, 5, 0.25, 20.0, 1, 1),
    Defaults(100.0, 1.0, 0.4, 10.0, 2.0, 10.0, 5, 0.4, 5, 0.4),
    Defaults(300.0, 1.5, 0.8, 10.0, 2.0, 10.0, 5, 0.63, 5, 0.63),
)
"""Edition of 1996/2016 as remembered. A third edition was published in March 2025 and has not been seen."""


def defaults_for(*, diameter_mm: float) -> Defaults:
    """The column for a largest dimension [mm]; raises `SizeOutsideDefaults` beyond the last."""
    for column in TABLE:
        if diameter_mm <= column.up_to_mm:
            return column
    raise SizeOutsideDefaults(diameter_mm, TABLE[-1].up_to_mm)
