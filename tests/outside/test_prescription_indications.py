"""Imperfections and fringes against published examples and definitions."""

from __future__ import annotations

import math

import pytest

from services.optics.drawing.form import read_form
from services.optics.drawing.imperfections import GRADES_MM
from services.optics.fringes import sag_error_mm

INCH_MM = 25.4


def test_the_grades_are_the_published_series() -> None:
    # The same page lists 0.004 to 0.400 with 0.060 for what the standard writes 0.063.
    published = (0.004, 0.006, 0.010, 0.016, 0.025, 0.040, 0.060, 0.100, 0.160, 0.250, 0.400)
    assert all(any(math.isclose(one, grade, rel_tol=0.06) for grade in GRADES_MM) for one in published)


@pytest.mark.parametrize(("fringes", "wavelength_nm", "sag_um"), [(1, 546.07, 0.2730), (5, 632.8, 1.5820), (3, 546.07, 0.8191)])
def test_a_fringe_is_half_a_wavelength_of_height(fringes: float, wavelength_nm: float, sag_um: float) -> None:
    # Half-wave definition as in https://www.jmloptical.com/resources/manufacturing-tolerances/; figures computed independently.
    assert sag_error_mm(fringes=fringes, wavelength_nm=wavelength_nm) * 1000 == pytest.approx(sag_um, abs=1e-4)
    assert read_form(f"3/{fringes} λ={wavelength_nm} nm").power_fringes == pytest.approx(sag_um / 0.273035, rel=1e-3)
