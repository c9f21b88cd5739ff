"""The room for centres of discs, as a shop measures it: margins off all round, a gap between two discs, none needed at the margin.

Sizes are rounded to the safe side, so that a layout is found again among those known.
"""

from __future__ import annotations

import math

from services.shop.layout.rows import HAIR_MM

KEY_MM = 1e-6
"""To what a size is rounded before a layout is looked up among those known [mm]."""


def room_mm(*, side_mm: float, diameter_mm: float, margin_mm: float) -> float:
    """The length [mm] within which centres of discs may lie along a side, rounded down; negative where no disc fits."""
    return math.floor((side_mm - 2 * margin_mm - diameter_mm + HAIR_MM) / KEY_MM) * KEY_MM


def pitch_mm(*, diameter_mm: float, gap_mm: float) -> float:
    """From centre to centre [mm] of two discs that are a gap apart, rounded up and never nothing."""
    return math.ceil((max(diameter_mm + gap_mm, KEY_MM) - HAIR_MM) / KEY_MM) * KEY_MM
