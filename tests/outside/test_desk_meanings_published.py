"""What cells of a customer's table mean, against published tables and explanations."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Literal

import pytest
from babel.dates import format_date

from services.desk.intake.days import read_day
from services.desk.intake.fits import limits_mm
from services.desk.intake.meanings import read_cell

LIMITS_OF_H = """
3   3 4 6 10 14 25 40 60 100
6   4 5 8 12 18 30 48 75 120
10  4 6 9 15 22 36 58 90 150
18  5 8 11 18 27 43 70 110 180
30  6 9 13 21 33 52 84 130 210
50  7 11 16 25 39 62 100 160 250
80  8 13 19 30 46 74 120 190 300
120 10 15 22 35 54 87 140 220 350
"""
"""Largest diameter of a range [mm], and how far h4 to h12 reach below the nominal [um].

Sources: h4 to h9 https://catalog.bigdaishowa.com/view/510119233/139, h10 to h12 http://precisemetal.in/tolerence-table.php.
"""


@pytest.mark.parametrize("line", LIMITS_OF_H.strip().splitlines())
def test_limits_of_h_are_those_of_published_tables(line: str) -> None:
    largest, *widths = line.split()
    for grade, width in zip(range(4, 13), widths, strict=True):
        assert limits_mm(f"h{grade}", diameter_mm=Decimal(largest)) == (Decimal(0), -Decimal(width) / 1000)


@pytest.mark.parametrize(
    ("fit", "diameter_mm", "upper_um", "lower_um"),
    [
        ("g6", 50, -9, -25),  # https://rulesofthumb.info/engineering/limits-fits.html
        ("g6", 25, -7, -20),  # ISO 286-2:2010, from memory, as the rest
        ("f7", 25, -20, -41),
        ("f8", 40, -25, -64),
        ("e8", 25, -40, -73),
        ("d9", 25, -65, -117),
        ("js6", 25, 6.5, -6.5),
        ("f7", 3, -6, -16),
        ("g5", 100, -12, -27),
    ],
)
def test_limits_of_shafts_are_those_of_iso_286(fit: str, diameter_mm: int, upper_um: float, lower_um: float) -> None:
    limits = limits_mm(fit, diameter_mm=Decimal(diameter_mm))
    assert limits is not None
    assert [float(1000 * limit) for limit in limits] == [upper_um, lower_um]


def test_two_fringes_are_a_wave_of_surface() -> None:
    """https://escooptics.com/blogs/news/surface-accuracy-for-optics: one fringe is half a wavelength, two are a wave of surface error."""
    assert read_cell("irregularity", "1 wave @ 632.8 nm").values == read_cell("irregularity", "2 fringes @ 632.8 nm").values


def test_a_tenth_of_a_wave_of_helium_neon_light_is_63_nm() -> None:
    """https://escooptics.com/blogs/news/surface-accuracy-for-optics: λ/10 at 632.8 nm is about 63 nm, λ/20 about 32 nm."""
    for waves, nm in (("λ/10", 63), ("λ/20", 32)):
        form = read_cell("form", f"{waves} @ 632.8 nm").values["form"]
        assert form.endswith("; λ = 632.8 nm")
        assert round(float(form.removeprefix("3/-(").split(")")[0]) * 632.8 / 2) == nm


def test_three_fringes_of_power_and_a_quarter_of_irregularity() -> None:
    """The figure explained at https://www.jmloptical.com/resources/manufacturing-tolerances/."""
    assert read_cell("form", "three fringes").values == {}
    assert read_cell("form", "3 fringes power, 1/4 fringe irregularity").values == {"form": "3/3(0.25)"}


def test_scratch_and_dig_stay_as_they_are() -> None:
    """The 60-40 of https://www.jmloptical.com/resources/manufacturing-tolerances/: a scratch number and digs of 0.40 mm, no grade of ISO 10110-7."""
    assert read_cell("surface_quality", "60-40 per MIL-O-13830").values == {"imperfections": "60-40"}


@pytest.mark.parametrize("language", ["en", "de", "fr"])
@pytest.mark.parametrize("width", ["full", "long", "medium"])
def test_days_as_the_cldr_writes_them_are_read_back(language: str, width: Literal["full", "long", "medium"]) -> None:
    """Unicode CLDR by Babel: the day of every month in English, German and French, without the day of the week."""
    for month in range(1, 13):
        day = date(2027, month, 17)
        written = format_date(day, format=width, locale=language)
        without_weekday = written.replace(format_date(day, format="EEEE", locale=language), "").strip(" ,")
        assert read_day(without_weekday).values == {"needed_by": day.isoformat()}, written


def test_weeks_are_those_of_iso_8601() -> None:
    """ISO 8601: the first week of a year holds its first Thursday; 2026 has 53 weeks, 2027 has 52 (https://en.wikipedia.org/wiki/ISO_week_date)."""
    assert read_day("KW 1/2027").values == {"needed_by": "2027-01-08"}
    assert read_day("KW 53/2026").values == {"needed_by": "2027-01-01"}
    assert read_day("KW 53/2027").values == {}
