"""Antireflection films against published figures and independent computation. Glass of index 1.517 unless told otherwise."""

from __future__ import annotations

import numpy as np
import pytest
import tmm

from services.optics.dispersion import Dispersion, cauchy_index
from services.optics.thin_film import films, quarter_wave_nm, reflectance
from services.process.domain.coating.promise import stack_of
from shared_schemas.rates import Rates

CROWN = 1.517
BAND = np.linspace(420.0, 680.0, 261)


def percent(indices: list[float], thicknesses_nm: list[float], wavelengths_nm: np.ndarray, glass: float = CROWN) -> np.ndarray:
    return 100 * reflectance(indices=indices, thicknesses_nm=thicknesses_nm, substrate_index=glass, wavelengths_nm=wavelengths_nm)


def test_a_quarter_wave_of_magnesium_fluoride_is_99_6_nm_thick() -> None:
    """99.637 nm at n 1.38 and 550 nm: http://boptics.de/rsimapp06.html"""
    assert quarter_wave_nm(wavelength_nm=550, index=1.38) == pytest.approx(99.637, abs=0.002)


def test_it_leaves_1_3_percent_on_1_52() -> None:
    """1.3 %: https://www.astronomyclub.xyz/quantum-mechanics/appendix-82-reflectance-of-thin-ulms.html"""
    assert percent([1.38], [99.638], np.array([550.0]), 1.52)[0] == pytest.approx(1.3, abs=0.05)


# R = ((ns - n^2)/(ns + n^2))^2, and uncoated ((ns - 1)/(ns + 1))^2; computed independently.
@pytest.mark.parametrize(
    ("glass", "coated", "bare"),
    [(1.4585, 1.758, 3.478), (1.517, 1.2821, 4.219), (1.52, 1.260, 4.258), (1.62, 0.651, 5.600), (1.7847, 0.105, 7.941), (1.38**2, 0.0, 9.696)],
)  # fmt: skip
def test_single_layers_on_six_glasses(glass: float, coated: float, bare: float) -> None:
    assert percent([1.38], [550 / 4 / 1.38], np.array([550.0]), glass)[0] == pytest.approx(coated, abs=6e-4)
    assert percent([], [], np.array([550.0]), glass)[0] == pytest.approx(bare, abs=6e-4)


def test_a_single_layer_over_the_band() -> None:
    """Mean 400 to 700 nm 1.484 %, 2.208 % at 400, 1.611 % at 700; computed independently, without dispersion."""
    band = np.linspace(400, 700, 301)
    found = percent([1.38], [99.638], band)
    assert found.mean() == pytest.approx(1.484, abs=2e-3)
    assert (found[0], found[-1]) == (pytest.approx(2.208, abs=1e-3), pytest.approx(1.611, abs=1e-3))


# Two-layer V-coats with zero at 550 nm; computed independently.
@pytest.mark.parametrize(("indices", "thicknesses"), [([1.38, 2.30], [129.07, 12.54]), ([1.38, 2.05], [125.86, 19.40])])
def test_v_coats_leave_nothing_at_550(indices: list[float], thicknesses: list[float]) -> None:
    assert percent(indices, thicknesses, np.array([550.0]))[0] == pytest.approx(0.0, abs=1e-4)


def test_quarter_half_quarter() -> None:
    """1.38 / 2.10 / 1.70: 0.0000 % at 550 nm, mean 0.215 %, at most 1.369 % from 420 to 680 nm; computed independently."""
    stack = ([1.38, 2.10, 1.70], [99.64, 130.95, 80.88])
    assert percent(*stack, np.array([550.0]))[0] == pytest.approx(0.0, abs=1e-3)
    found = percent(*stack, BAND)
    assert found.mean() == pytest.approx(0.215, abs=1e-3)
    assert found.max() == pytest.approx(1.369, abs=2e-3)


def test_the_broadband_coating_of_the_rates(rates: Rates) -> None:
    """1.38 / 2.20 / 1.38 / 2.20 of 95.416 / 127.110 / 34.358 / 13.462 nm: mean 0.0887 % of every 5 nm, at most 0.566 %.

    Computed independently. The reflection climbs at the ends of the band, so the mean depends on the steps: the integral
    over the band is 0.0806 %.
    """
    row = rates.coating("ar-broadband")
    stack = ([layer.index for layer in row.layers], [layer.thickness_nm for layer in row.layers])
    found = percent(*stack, np.arange(420.0, 681.0, 5.0))
    assert found.mean() == pytest.approx(0.0887, abs=1e-4)
    assert found.max() == pytest.approx(0.566, abs=1e-3)
    fine = percent(*stack, BAND)
    assert np.trapezoid(fine, BAND) / 260 == pytest.approx(0.0806, abs=1e-4)


def test_the_single_layer_of_the_rates(rates: Rates) -> None:
    """1.2821 % at 550 nm; computed independently."""
    stack = stack_of(rates.coating("ar-single"))
    assert percent(list(stack.indices), list(stack.thicknesses_nm), np.array([550.0]))[0] == pytest.approx(1.2821, abs=1e-4)


def test_the_order_of_the_layers_is_from_the_air_to_the_glass() -> None:
    """The V-coat turned over leaves much; an error of order would pass every single layer."""
    assert percent([2.30, 1.38], [12.54, 129.07], np.array([550.0]))[0] > 2


def test_two_hundred_random_stacks_against_a_general_reference() -> None:
    """S. J. Byrnes, Multilayer optical calculations, https://arxiv.org/abs/1603.02720, and his package tmm 0.2.0 (test only).

    1 to 12 layers, a quarter of them absorbing, 0 to 70 deg, into glass or metal, s and p: R and T to 1e-9.
    """
    random = np.random.default_rng(200)
    for _ in range(200):
        count = int(random.integers(1, 13))
        absorbs = random.uniform(size=count) < 0.25
        layers = random.uniform(1.3, 2.6, count) + 1j * np.where(absorbs, random.uniform(0.001, 0.6, count), 0.0)
        thicknesses = random.uniform(2.0, 300.0, count)
        behind = complex(random.uniform(1.4, 2.0), random.choice([0.0, random.uniform(0.0, 3.0)]))
        front, angle, wavelength = random.choice([1.0, random.uniform(1.0, 1.4)]), random.uniform(0, 70), random.uniform(380, 1100)
        for kind in ("s", "p"):
            found = films(
                indices=list(layers), thicknesses_nm=list(thicknesses), substrate_index=behind, wavelengths_nm=np.array([wavelength]),
                angles_deg=np.array([angle]), polarisation=kind, incidence_index=float(front),
            )  # fmt: skip
            reference = tmm.coh_tmm(kind, [front, *layers, behind], [np.inf, *thicknesses, np.inf], np.radians(angle), wavelength)
            assert found.reflected[0, 0] == pytest.approx(reference["R"], abs=1e-9)
            assert found.passed[0, 0] == pytest.approx(reference["T"], abs=1e-9)


# The reflectance of bare glass falls to 0 for p at Brewster's angle, atan(n): Born & Wolf, Principles of Optics, 1.5.3, from memory.
@pytest.mark.parametrize("glass", [1.4585, 1.517, 1.9044])
def test_p_light_is_not_reflected_at_brewsters_angle(glass: float) -> None:
    found = films(
        indices=[], thicknesses_nm=[], substrate_index=glass, wavelengths_nm=np.array([550.0]), angles_deg=np.array([np.degrees(np.arctan(glass))]),
        polarisation="p",
    )  # fmt: skip
    assert found.reflected[0, 0] == pytest.approx(0.0, abs=1e-15)


# n of N-BK7 and N-SF6 at C, d and F: SCHOTT data sheets, from memory.
@pytest.mark.parametrize(("glass", "indices"), [("N-BK7", (1.51432, 1.51680, 1.52238)), ("N-SF6", (1.79608, 1.80518, 1.82783))])
def test_the_index_of_a_glass_follows_its_data_sheet(glass: str, indices: tuple[float, ...], rates: Rates) -> None:
    lines = np.array([656.2725, 587.5618, 486.1327])
    assert Dispersion(rates.glass(glass)).index(lines) == pytest.approx(indices, abs=1e-5)


def test_two_terms_from_index_and_abbe_number_are_near_enough_where_a_glass_has_no_formula(rates: Rates) -> None:
    """Against the data-sheet formulas of every glass of the rates, 400 to 1000 nm: 0.0015 in the median, 0.021 at the most."""
    band = np.linspace(400.0, 1000.0, 121)
    errors = []
    for glass in rates.glasses:
        formula = Dispersion(glass)
        place = glass.in_glass_map
        assert not formula.fitted
        if place is not None and formula.covers(400.0, 1000.0):
            errors.append(np.abs(formula.index(band) - cauchy_index(nd=place.nd, vd=place.vd, wavelength_nm=band)).max())
    assert len(errors) > 200
    assert np.median(errors) < 0.0016
    assert max(errors) < 0.021
    crown = Dispersion(rates.glass("N-BK7"))
    assert np.abs(crown.index(band) - cauchy_index(nd=1.5168, vd=64.17, wavelength_nm=band)).max() < 0.0014
