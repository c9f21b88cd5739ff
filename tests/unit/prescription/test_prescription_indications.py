"""Indications as on a drawing: what they say, and where they cannot be read."""

from __future__ import annotations

import pytest

from services.optics.drawing.centring import read_centring
from services.optics.drawing.form import read_form
from services.optics.drawing.imperfections import (
    Allowed,
    Imperfections,
    ScratchDig,
    dig_as_grade,
    read_imperfections,
)
from services.optics.errors import IndicationUnreadable


@pytest.mark.parametrize(
    ("text", "power", "irregularity", "rotational"),
    [("3/3(0.5)", 3, 0.5, None), ("3/-(1)", None, 1, None), ("3/5", 5, None, None), (" 3/ 3,5 (1 / 0,2)", 3.5, 1, 0.2)],
)
def test_form_is_read(text: str, power: float | None, irregularity: float | None, rotational: float | None) -> None:
    form = read_form(text)
    assert (form.power_fringes, form.irregularity_fringes, form.rotational_fringes) == (power, irregularity, rotational)


def test_fringes_of_another_wavelength_become_fringes_of_the_mercury_line() -> None:
    assert read_form("3/5(1) λ=632.8 nm").power_fringes == pytest.approx(5 * 632.8 / 546.07)


@pytest.mark.parametrize(("text", "arcmin"), [("4/1'", 1), ('4/30"', 0.5), ("4/0,5′", 0.5), ("4/30''", 0.5), ("4/0.1°", 6)])
def test_centring_is_read_in_its_unit(text: str, arcmin: float) -> None:
    assert read_centring(text).tilt_arcmin == pytest.approx(arcmin)


def test_a_lateral_displacement_is_read() -> None:
    assert read_centring("4/2'(0.05)").lateral_mm == 0.05


@pytest.mark.parametrize("text", ["5/3x0.16", "5/3×0,16", "5/ 3 X .16"])
def test_imperfections_are_read(text: str) -> None:
    assert read_imperfections(text) == Imperfections(Allowed(3, 0.16))


def test_coating_scratches_and_chips_are_read() -> None:
    found = read_imperfections("5/2x0.1; C1×0,25; L1x0.04; E0.5")
    assert found == Imperfections(Allowed(2, 0.1), Allowed(1, 0.25), Allowed(1, 0.04), 0.5)


def test_a_scratch_dig_is_kept_and_only_its_dig_is_turned() -> None:
    assert read_imperfections("60-40") == ScratchDig(60, 40)
    assert dig_as_grade(dig=40, clear_diameter_mm=30.0) == Allowed(2, 0.4)


@pytest.mark.parametrize(
    ("reader", "text", "position", "expected"),
    [
        (read_form, "5/3x0.16", 1, "3/"),
        (read_form, "3/x(1)", 3, "A (power)"),
        (read_form, "3/0(1)", 3, "above 0"),
        (read_form, "3/3(0.5", 8, ")"),
        (read_form, "3/3(0.5) please", 10, "end"),
        (read_centring, "4/3", 4, "minutes"),
        (read_centring, "4/'", 3, "σ"),
        (read_imperfections, "5/3 0.16", 5, "x or ×"),
        (read_imperfections, "5/0x0.16", 3, "at least 1"),
        (read_imperfections, "5/1x0.1; Z", 10, "C, L, E or W"),
        (read_imperfections, "60-0", 4, "dig"),
        (read_imperfections, "", 1, "5/"),
    ],
)
def test_an_error_names_the_position_and_what_was_expected(reader: object, text: str, position: int, expected: str) -> None:
    assert callable(reader)
    with pytest.raises(IndicationUnreadable) as caught:
        reader(text)
    assert caught.value.position == position
    assert expected in caught.value.expected
