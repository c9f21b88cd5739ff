"""What imperfect glass does to a wave that goes through it, and how many bubbles a volume holds."""

from __future__ import annotations

import math

from services.optics.fringes import REFERENCE_NM
from services.optics.law import law


@law
def homogeneity_path_nm(*, index_variation_1e6: float, thickness_mm: float) -> float:
    """Difference of optical path [nm], peak to valley, by a variation of the index from peak to valley [1e-6]: W = dn t.

    Equation: index_variation_1e6 * thickness_mm
    Notes: a millionth of a millimetre is a nanometre.
    Source: derived.
    """
    return index_variation_1e6 * thickness_mm


@law
def stress_path_nm(*, stress_nm_per_cm: float, thickness_mm: float) -> float:
    """Difference of optical path [nm] between two polarisations, by stress birefringence [nm per cm of path].

    Equation: stress_nm_per_cm * thickness_mm / 10
    Source: ISO 10110-18, formerly -2, from memory.
    """
    return stress_nm_per_cm * thickness_mm / 10


@law
def striae_path_nm(*, striae_nm_per_50_mm: float, thickness_mm: float) -> float:
    """Difference of optical path [nm] by striae that are graded over 50 mm of glass.

    Equation: striae_nm_per_50_mm * thickness_mm / 50
    Source: ISO 12123 grades striae over 50 mm: P. Hartmann, Optical Glass (2014), p. 91.
    """
    return striae_nm_per_50_mm * thickness_mm / 50


@law
def waves_of_path(*, path_nm: float, wavelength_nm: float) -> float:
    """A difference of optical path [nm] in waves.

    Equation: path_nm / wavelength_nm
    """
    return path_nm / wavelength_nm


@law
def wavefront_of_faces_nm(*, refractive_index: float, front_fringes: float, back_fringes: float) -> float:
    """Deformation of a wave [nm] that goes through two faces whose irregularities [fringe spacings] have nothing to do with each other.

    Equation: (refractive_index - 1) * 546.07 / 2 * sqrt(front_fringes**2 + back_fringes**2)
    Source: derived.
    """
    return (refractive_index - 1) * REFERENCE_NM / 2 * math.hypot(front_fringes, back_fringes)


@law
def bubbles_mm2_per_100_cm3(*, count: int, grade_mm: float, volume_mm3: float) -> float:
    """Section of all bubbles that `1/N×A` allows [mm2], in 100 cm3 of the glass of the element: N A^2 / V.

    Equation: count * grade_mm**2 / volume_mm3 * 1e5
    Notes: the grade is the square root of the section of one bubble; makers grade their glass by the section in 100 cm3.
    Source: ISO 10110-18, formerly -3, and makers' catalogues, from memory.
    """
    return count * grade_mm**2 / volume_mm3 * 1e5
