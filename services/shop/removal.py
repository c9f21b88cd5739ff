"""How fast a cup wheel takes glass off a face."""

from __future__ import annotations

import math

from services.optics.law import law


@law
def generated_mm3_per_min(*, infeed_mm_per_min: float, blank_diameter_mm: float, removal_limit_mm3_per_min: float) -> float:
    """Volume [mm3/min] that a cup wheel takes off a face: its infeed all over the face, or what the power of the spindle allows.

    Equation: min(infeed_mm_per_min * pi / 4 * blank_diameter_mm ** 2, removal_limit_mm3_per_min)
    Notes: a spindle of 1 to 3 kW at 30 to 60 J/mm3 takes 1000 to 6000 mm3/min; infeeds of 0.3 to 1.5 mm/min.
    Source: common practice, from memory
    """
    return min(infeed_mm_per_min * math.pi / 4 * blank_diameter_mm**2, removal_limit_mm3_per_min)
