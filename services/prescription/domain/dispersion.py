"""The refractive index of a glass at a wavelength."""

from __future__ import annotations

import math

from services.prescription.errors import WavelengthOutOfRange
from shared_schemas.prescription import IndexGlass
from shared_schemas.rates import GlassRow

D_NM, F_NM, C_NM = 587.5618, 486.1327, 656.2725
"""Helium d, hydrogen F and C lines [nm] (ISO 7944, from memory)."""

FROM_NM, TO_NM = 334.0, 2325.4
"""Range in which makers measure and fit their glasses [nm]: i line region to the 2325 nm mercury line (from memory)."""


def index_of(glass: GlassRow | IndexGlass, wavelength_nm: float) -> float:
    """Refractive index at a wavelength.

    Raises:
        WavelengthOutOfRange: outside 334 to 2325 nm.

    Notes:
        n^2 - 1 = sum B_i L^2 / (L^2 - C_i), L in um, with the maker's six coefficients. A glass known by nd and vd only
        gets the two-term Cauchy curve through them, n = A + B/L^2, good to about 1e-3 in the visible.
    """
    if not FROM_NM <= wavelength_nm <= TO_NM:
        name = glass.name if isinstance(glass, GlassRow) else f"{glass.nd:g}/{glass.vd:g}"
        raise WavelengthOutOfRange(glass=name, wavelength_nm=wavelength_nm, from_nm=FROM_NM, to_nm=TO_NM)
    if isinstance(glass, GlassRow):
        terms = _sellmeier_terms(glass)
        if terms:
            square = (wavelength_nm / 1000) ** 2
            return math.sqrt(1 + sum(b * square / (square - c) for b, c in terms))
    return _cauchy(glass.nd, glass.vd, wavelength_nm)


def _sellmeier_terms(glass: GlassRow) -> list[tuple[float, float]]:
    terms = [
        (glass.sellmeier_b1, glass.sellmeier_c1_um2),
        (glass.sellmeier_b2, glass.sellmeier_c2_um2),
        (glass.sellmeier_b3, glass.sellmeier_c3_um2),
    ]
    return [(b, c) for b, c in terms if b is not None and c is not None]


def _cauchy(nd: float, vd: float, wavelength_nm: float) -> float:
    slope = (nd - 1) / vd / (F_NM**-2 - C_NM**-2)
    return nd + slope * (wavelength_nm**-2 - D_NM**-2)
