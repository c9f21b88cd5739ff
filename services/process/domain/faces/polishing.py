"""How long does polishing take? Preston's law, and the loops of measuring and correcting."""

from __future__ import annotations

import math

from shared_schemas.problem import FigureOutOfRange

CM2_PER_DYN_IN_PER_PA = 10.0
"""1 cm2/dyn = 10 /Pa."""


def removal_rate_um_per_h(*, preston_coefficient_per_pa: float, pressure_pa: float, speed_m_per_s: float) -> float:
    """Depth taken off per hour: Kp P v [um/h].

    Source: F. W. Preston, J. Soc. Glass Technol. 11 (1927), dh/dt = Kp P v, from memory.
    """
    return preston_coefficient_per_pa * pressure_pa * speed_m_per_s * 1e6 * 3600


def polishing_min(*, removal_um: float, preston_coefficient_per_pa: float, pressure_pa: float, speed_m_per_s: float) -> float:
    """Minutes to take off a depth: h / (Kp P v).

    Raises: FigureOutOfRange when coefficient, pressure or speed is not above 0.
    """
    rate = removal_rate_um_per_h(
        preston_coefficient_per_pa=preston_coefficient_per_pa, pressure_pa=pressure_pa, speed_m_per_s=speed_m_per_s
    )
    if rate <= 0:
        raise FigureOutOfRange("Kp P v", rate, "figures above 0")
    return removal_um / rate * 60


def depth_from_mass_um(*, mass_g: float, density_g_cm3: float, area_cm2: float) -> float:
    """Depth that a loss of mass means: m / (rho A) [um].

    Raises: FigureOutOfRange for a density or an area that is not above 0.
    """
    if density_g_cm3 <= 0:
        raise FigureOutOfRange("density [g/cm3]", density_g_cm3, "figures above 0")
    if area_cm2 <= 0:
        raise FigureOutOfRange("area [cm2]", area_cm2, "figures above 0")
    return mass_g / (density_g_cm3 * area_cm2) * 1e4


def figuring_loops(*, start_fringes: float, target_fringes: float) -> int:
    """Loops of measuring and correcting: 1 + log2(start/target), whole, at least 1 (each loop halves the error; from memory).

    Raises: FigureOutOfRange for a target that is not above 0.
    """
    if target_fringes <= 0:
        raise FigureOutOfRange("irregularity [fringe]", target_fringes, "figures above 0")
    if target_fringes >= start_fringes:
        return 1
    return 1 + math.ceil(math.log2(start_fringes / target_fringes) - 1e-9)


def figuring_min(*, loops: int, measure_min: float, correct_min: float) -> float:
    """Minutes of the loops; after the last measurement nothing is corrected.

    Raises: FigureOutOfRange for less than one loop.
    """
    if loops < 1:
        raise FigureOutOfRange("loops", loops, "1 and above")
    return loops * measure_min + (loops - 1) * correct_min
