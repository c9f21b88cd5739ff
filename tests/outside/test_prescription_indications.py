"""Imperfections and fringes against published examples and definitions."""

from __future__ import annotations

import math

import pytest

from services.prescription.domain.accumulation import Scratch, accumulated, next_grade_mm
from services.prescription.domain.fringes import sag_error_mm
from services.prescription.domain.indications.form import read_form
from services.prescription.domain.indications.imperfections import GRADES_MM, grade_of_round_dig_mm

INCH_MM = 25.4


def test_the_published_example_of_accumulation_is_rejected() -> None:
    # https://ru.scribd.com/document/87040131/Sydor-Scratch-Dig: 80-50, equivalent diameter 2.55 in, scratches #80 0.5 in,
    # #60 1.0 in, #40 0.5 in: 15.7 + 23.5 + 7.8 = 47.06 > 40, reject.
    found = accumulated(
        [Scratch(80, 0.5 * INCH_MM), Scratch(60, 1.0 * INCH_MM), Scratch(40, 0.5 * INCH_MM)],
        largest_number=80,
        diameter_mm=2.55 * INCH_MM,
    )
    assert found.weighted == pytest.approx(47.06, abs=0.01)
    assert found.weighted_limit == 40
    assert not found.passes


@pytest.mark.parametrize(
    ("dig_mm", "grade", "standard"), [(0.40, 0.354, 0.40), (0.50, 0.443, 0.63), (0.20, 0.177, 0.25), (0.10, 0.0886, 0.10)]
)
def test_a_round_dig_has_the_grade_of_its_area(dig_mm: float, grade: float, standard: float) -> None:
    # Grade = square root of the area (https://www.honoroptics.com/scratch-numbers-standard/); figures computed independently.
    assert grade_of_round_dig_mm(diameter_mm=dig_mm) == pytest.approx(grade, abs=1e-3)
    assert next_grade_mm(grade_of_round_dig_mm(diameter_mm=dig_mm)) == standard


def test_the_grades_are_the_published_series() -> None:
    # The same page lists 0.004 to 0.400 with 0.060 for what the standard writes 0.063.
    published = (0.004, 0.006, 0.010, 0.016, 0.025, 0.040, 0.060, 0.100, 0.160, 0.250, 0.400)
    assert all(any(math.isclose(one, grade, rel_tol=0.06) for grade in GRADES_MM) for one in published)


@pytest.mark.parametrize(("fringes", "wavelength_nm", "sag_um"), [(1, 546.07, 0.2730), (5, 632.8, 1.5820), (3, 546.07, 0.8191)])
def test_a_fringe_is_half_a_wavelength_of_height(fringes: float, wavelength_nm: float, sag_um: float) -> None:
    # Half-wave definition as in https://www.jmloptical.com/resources/manufacturing-tolerances/; figures computed independently.
    assert sag_error_mm(fringes=fringes, wavelength_nm=wavelength_nm) * 1000 == pytest.approx(sag_um, abs=1e-4)
    assert read_form(f"3/{fringes} λ={wavelength_nm} nm").power_fringes == pytest.approx(sag_um / 0.273035, rel=1e-3)
