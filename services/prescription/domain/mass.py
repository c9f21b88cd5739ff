"""Mass of an element."""

from __future__ import annotations


def mass_g(*, volume_mm3: float, density_g_cm3: float) -> float:
    """Mass [g] of a volume [mm^3] of glass of a density [g/cm^3].

    Source: derived.
    """
    return volume_mm3 * density_g_cm3 / 1000.0
