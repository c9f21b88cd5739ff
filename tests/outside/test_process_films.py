"""Antireflection films against published figures and independent computation. Glass of index 1.517 unless told otherwise."""

from __future__ import annotations

import numpy as np
import pytest

from services.process.domain.coating_cycle import residual_reflectance
from services.process.domain.thin_film import quarter_wave_nm, reflectance
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
    assert residual_reflectance(rates.coating("ar-single"), substrate_index=CROWN) == pytest.approx(0.012821, abs=1e-6)


def test_the_order_of_the_layers_is_from_the_air_to_the_glass() -> None:
    """The V-coat turned over leaves much; an error of order would pass every single layer."""
    assert percent([2.30, 1.38], [12.54, 129.07], np.array([550.0]))[0] > 2
