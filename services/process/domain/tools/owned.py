"""Does an owned tool serve?"""

from __future__ import annotations

from functools import lru_cache

from shared_schemas.rates import InForce, Rates, ToolingRow

SMALLEST_SEAT_SHARE = 0.8
"""A chuck or a fixture serves diameters from its own down to this share of it (common practice)."""


def serves(row: ToolingRow, size_mm: float) -> bool:
    """Whether a tool serves: a radius within its reach, or a diameter from its own up to a fifth smaller."""
    if row.radius_mm is not None:
        return abs(row.radius_mm - size_mm) <= row.reach_share * size_mm
    return row.diameter_mm is not None and SMALLEST_SEAT_SHARE * row.diameter_mm <= size_mm <= row.diameter_mm


def plate_owned(radius_mm: float, rates: Rates) -> bool:
    """Whether the shop has a test plate for a radius [mm]."""
    return any(serves(row, radius_mm) for row in _plates(InForce(rates)))


@lru_cache(maxsize=16)
def _plates(in_force: InForce) -> tuple[ToolingRow, ...]:
    return tuple(row for row in in_force.rates.tooling if row.owned and row.kind == "test_plate")
