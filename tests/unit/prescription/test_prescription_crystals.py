"""Crystals and infrared glasses: an index without n_d, a wavelength of their own, and what an estimator says of them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from pydantic import ValidationError

from services.prescription.domain.check import check_prescription
from shared_schemas.check import CheckReport
from shared_schemas.glass_reference import GlassNotFound, find_glass
from shared_schemas.prescription import Prescription
from shared_schemas.rates import GlassRow, Rates
from tests.chain import singlet

Report = Callable[..., CheckReport]


def checked(rates: Rates, *, glass: str, wavelength_nm: float, **fields: Any) -> CheckReport:
    lens = {**singlet(glass=glass, **fields), "wavelength_nm": wavelength_nm}
    return check_prescription(Prescription.model_validate(lens), rates, with_basis=True)


@pytest.mark.parametrize(
    ("glass", "wavelength_nm", "index"),
    [("Ge", 10600.0, 4.00356), ("Si", 4000.0, 3.4253), ("ZnSe", 10600.0, 2.40278), ("CaF2", 593.0, 1.43373)],
)
def test_a_crystal_lens_has_its_focal_length_at_its_own_wavelength(
    glass: str, wavelength_nm: float, index: float, rates: Rates
) -> None:
    report = checked(rates, glass=glass, wavelength_nm=wavelength_nm, front_mm=200.0, back_mm=None)
    assert report.first_order.wavelength_nm == wavelength_nm
    assert report.first_order.focal_length_mm == pytest.approx(200.0 / (index - 1), rel=1e-4)
    assert report.images
    assert report.elements[0].refractive_index == pytest.approx(index, abs=2e-4)
    assert "stop" not in {one.severity for one in report.findings}


def test_the_index_of_a_crystal_is_explained_by_its_own_formula(rates: Rates) -> None:
    laws = {}
    for glass in ("Ge", "ZnS", "IRG24"):
        report = checked(rates, glass=glass, wavelength_nm=10600.0, front_mm=200.0, back_mm=None)
        figure = next(figure for figure in report.elements[0].basis if figure.name == "refractive_index")
        laws[glass] = {one.name: one.value for one in figure.inputs}
    assert laws["Ge"]["constant"] == 1.0
    assert laws["IRG24"]["constant"] == 3.8965
    assert laws["ZnS"]["b2_um2"] == 4430.99


def test_germanium_in_the_visible_is_a_stop_that_names_its_wavelengths(rates: Rates) -> None:
    report = checked(rates, glass="Ge", wavelength_nm=587.5618)
    stop = next(one for one in report.findings if one.code == "index-unknown")
    assert stop.limit == "2000 to 14000 nm"
    assert report.elements == ()
    assert report.makeable == "no"


def test_germanium_beside_a_glass_that_does_not_reach_its_wavelength_is_named_too(report: Report) -> None:
    def change(lens: dict[str, Any]) -> None:
        lens.update(wavelength_nm=10600.0)
        lens["elements"][0]["glass"] = "Ge"

    codes = {(one.code, one.pointer) for one in report(change).findings}
    assert ("wavelength-outside-glass", "/elements/1/glass") in codes
    assert ("index-unknown", "/elements/0/glass") in codes


def test_silicon_is_priced_at_a_wavelength_that_it_hardly_transmits_and_the_report_says_so(rates: Rates) -> None:
    codes = {one.code for one in checked(rates, glass="Si", wavelength_nm=10600.0).findings}
    assert "wavelength-not-transmitted" in codes
    assert "wavelength-not-transmitted" not in {one.code for one in checked(rates, glass="Si", wavelength_nm=4000.0).findings}


@pytest.mark.parametrize(
    ("words", "name"), [("germanium", "Ge"), ("Zinc selenide", "ZnSe"), ("silicon", "Si"), ("calcium fluoride", "CaF2")]
)
def test_a_crystal_is_found_by_its_name_in_words(words: str, name: str, rates: Rates) -> None:
    assert find_glass(words, rates).row.name == name


def test_an_unknown_glass_is_unknown_although_some_rows_have_no_index(rates: Rates) -> None:
    with pytest.raises(GlassNotFound):
        find_glass("440067", rates)


def row(rates: Rates, name: str, **fields: Any) -> GlassRow:
    return GlassRow.model_validate({**rates.glass(name).model_dump(mode="json"), **fields})


@pytest.mark.parametrize(
    ("name", "fields", "column"),
    [
        ("Ge", {"sellmeier_b2": None}, "nd"),
        ("ZnSe", {"sellmeier_c3_um2": None}, "vd"),
        ("Ge", {"index_to_um": None}, "index_to_um"),
        ("Ge", {"transmits_to_um": 1.0}, "transmits_to_um"),
    ],
)
def test_a_material_of_which_no_index_follows_is_refused_by_its_column(
    name: str, fields: dict[str, Any], column: str, rates: Rates
) -> None:
    with pytest.raises(ValidationError) as refused:
        row(rates, name, **fields)
    assert [error["loc"] for error in refused.value.errors()] == [(column,)]


def test_a_hardness_in_pascal_is_refused(rates: Rates) -> None:
    with pytest.raises(ValidationError, match="10000"):
        row(rates, "CaF2", knoop_hk=1.55e9)


def test_a_glass_without_formula_and_with_both_figures_is_a_row(rates: Rates) -> None:
    assert row(rates, "N-BK7", sellmeier_b1=None).in_glass_map == (1.5168, 64.17)
