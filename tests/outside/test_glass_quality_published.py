"""What graded glass does to a wave, and the classes of drawings, held against published grades."""

from __future__ import annotations

import pytest

from services.optics.drawing.material import INDEX_VARIATION_1E6, STRIAE_NM_PER_50_MM
from services.optics.glass_quality import (
    bubbles_mm2_per_100_cm3,
    homogeneity_path_nm,
    stress_path_nm,
    striae_path_nm,
    waves_of_path,
)
from shared_schemas.rates import Rates


# W = dn t: 5e-6 over 6 mm at 632.8 nm is 0.0474 of a wave (derived).
def test_a_variation_of_the_index_over_six_millimetres_in_waves() -> None:
    path = homogeneity_path_nm(index_variation_1e6=5.0, thickness_mm=6.0)
    assert waves_of_path(path_nm=path, wavelength_nm=632.8) == pytest.approx(0.04741, abs=1e-5)


# Striae graded over 50 mm: P. Hartmann, Optical Glass (2014), p. 91; stress in nm per cm of path: ISO 10110-18, from memory.
def test_usual_striae_and_stress_over_six_millimetres() -> None:
    assert striae_path_nm(striae_nm_per_50_mm=30.0, thickness_mm=6.0) == pytest.approx(3.6, rel=1e-12)
    assert stress_path_nm(stress_nm_per_cm=20.0, thickness_mm=6.0) == pytest.approx(12.0, rel=1e-12)


# B1 leaves 0.1 mm2 in 100 cm3 (Optomechanical Rules of Thumb, https://www.scribd.com/doc/280710805): ten bubbles of grade 0.1 in that volume.
def test_ten_bubbles_of_a_tenth_in_a_hundred_cubic_centimetres_are_b1(rates: Rates) -> None:
    area = bubbles_mm2_per_100_cm3(count=10, grade_mm=0.1, volume_mm3=1e5)
    (row,) = [row for row in rates.glass_grades if row.grade == "B1"]
    assert area == pytest.approx(row.figure)


# Classes of homogeneity, +/-20, 5, 2, 1 e-6: A20, A5, A2, A1 of http://www.oharacorp.com/o7.html; ISO 12123 counts peak to valley, NH040 to NH002, from memory.
@pytest.mark.parametrize(
    ("drawn", "plus_minus_1e6", "grade"),
    [(1, 20.0, "NH040"), (2, 5.0, "NH010"), (3, 2.0, "NH004"), (4, 1.0, "NH002"), (5, 0.5, "NH001")],
)
def test_a_class_of_homogeneity_is_twice_its_plus_and_minus(drawn: int, plus_minus_1e6: float, grade: str, rates: Rates) -> None:
    assert INDEX_VARIATION_1E6[drawn] == 2 * plus_minus_1e6 == float(grade[2:])
    (row,) = [row for row in rates.glass_grades if grade in row.grade]
    assert row.figure == INDEX_VARIATION_1E6[drawn]


# Striae of 60, 30, 15 and 10 nm: Hartmann, same page; 30 is the standard.
def test_the_grades_of_striae_are_those_of_makers(rates: Rates) -> None:
    assert STRIAE_NM_PER_50_MM[:4] == (60.0, 30.0, 15.0, 10.0)
    usual = max((row for row in rates.glass_grades if row.attribute == "striae"), key=lambda row: row.figure)
    assert (usual.figure, usual.price_factor) == (30.0, 1.0)


# Base, precision and high precision for stress, 20, 10, 4 nm/cm, and bubbles, 0.5, 0.1, 0.029 mm2 in 100 cm3: Optomechanical Rules of Thumb, as above.
@pytest.mark.parametrize(("attribute", "figures"), [("stress", (20.0, 10.0, 4.0)), ("bubbles", (0.5, 0.1, 0.029))])
def test_the_published_ladder_of_grades_is_among_the_rows(attribute: str, figures: tuple[float, ...], rates: Rates) -> None:
    rows = {row.figure: row.price_factor for row in rates.glass_grades if row.attribute == attribute}
    assert [rows[figure] for figure in figures] == sorted(rows[figure] for figure in figures)
    assert rows[figures[0]] == 1.0
