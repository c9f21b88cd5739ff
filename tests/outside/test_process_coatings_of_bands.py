"""Coatings for other bands, mirrors and the infrared against figures computed independently, and against films by another hand."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
import tmm

from services.optics.dispersion import Dispersion
from services.optics.thin_film import quarter_wave_nm, reflectance
from services.process.domain.coating.promise import BARE, Asked, left_on, stack_of
from services.process.domain.coating.run import cycle_min, deposition_min
from shared_schemas.rates import Rates

LINES = np.array([450.0, 550.0, 650.0, 1064.0, 1550.0])
Films = Sequence[tuple[float, float]]

# One face of N-BK7 by its Sellmeier formula, normal incidence, films without dispersion: R in % at five wavelengths, mean and
# largest over the span; computed independently.
V_532 = ((1.38, 121.6), (2.05, 18.8))
V_1064 = ((1.45, 236.6), (2.10, 44.0))
SINGLE_1064 = ((1.38, 192.75),)
BROAD_650 = ((1.38, 147.1), (2.10, 204.9), (1.38, 51.5), (2.10, 22.2))
BROAD_400 = ((1.38, 127.7), (2.20, 26.7), (1.38, 43.8), (2.20, 38.9), (1.38, 44.7), (2.20, 19.2))
RECIPES: list[tuple[str, Films, dict[int, float], tuple[float, float]]] = [
    ("ar-v-532", V_532, {505: 0.1470, 520: 0.0270, 532: 0.0, 545: 0.0270, 560: 0.1158}, (0.0438, 0.1470)),
    ("ar-v-1064", V_1064, {1010: 0.2274, 1040: 0.0415, 1064: 0.0, 1090: 0.0427, 1120: 0.1821}, (0.0683, 0.2274)),
    ("ar-single-1064", SINGLE_1064, {900: 1.5688, 1000: 1.3816, 1064: 1.3598, 1150: 1.4064, 1250: 1.5251}, (1.4221, 1.5688)),
    ("ar-broad-650-1050", BROAD_650, {650: 0.2874, 750: 0.0845, 850: 0.0763, 950: 0.0361, 1050: 0.2545}, (0.0832, 0.2874)),
    ("ar-broad-400-1000", BROAD_400, {400: 1.3647, 550: 0.2909, 700: 0.9128, 850: 0.1806, 1000: 1.6122}, (0.6398, 1.6122)),
]


@pytest.mark.parametrize(("coating", "films", "percent", "span"), RECIPES, ids=[recipe[0] for recipe in RECIPES])
def test_a_recipe_of_the_rates_reflects_as_computed(
    coating: str, films: Films, percent: dict[int, float], span: tuple[float, float], rates: Rates
) -> None:
    stack = stack_of(rates.coating(coating))
    assert [index.real for index in stack.indices] == [index for index, _ in films]
    assert stack.thicknesses_nm == tuple(thickness for _, thickness in films)
    glass = Dispersion(rates.glass("N-BK7"))
    for wavelength, expected in percent.items():
        left = left_on(stack, Asked(wavelength, wavelength), glass)
        assert left is not None
        assert 100 * left.worst == pytest.approx(expected, abs=2e-3), wavelength
    over = left_on(stack, Asked(min(percent), max(percent)), glass)
    assert over is not None
    assert 100 * over.mean == pytest.approx(span[0], abs=2e-3)
    assert 100 * over.worst == pytest.approx(span[1], abs=2e-3)


# The same recipe for 650 to 1050 nm on other substrates: mean and largest, %; computed independently.
@pytest.mark.parametrize(("substrate", "mean", "largest"), [(1.60, 0.1754, 0.5696), (1.76, 0.6884, 1.4320), (1.85, 1.1339, 2.0558)])
def test_one_recipe_does_not_serve_all_glasses(substrate: float, mean: float, largest: float) -> None:
    band = np.linspace(650.0, 1050.0, 401)
    found = 100 * reflectance(
        indices=[index for index, _ in BROAD_650], thicknesses_nm=[thickness for _, thickness in BROAD_650], substrate_index=substrate,
        wavelengths_nm=band,
    )  # fmt: skip
    assert np.trapezoid(found, band) / 400 == pytest.approx(mean, abs=2e-3)
    assert found.max() == pytest.approx(largest, abs=2e-3)


# Quarter wave of MgF2 on N-BK7: ((n_s - n^2)/(n_s + n^2))^2 with n_s 1.51947, 1.50663, 1.50065, by the Sellmeier formula.
@pytest.mark.parametrize(
    ("wavelength_nm", "thickness_nm", "percent"), [(532.0, 96.377, 1.2639), (1064.0, 192.754, 1.3598), (1550.0, 280.797, 1.4060)]
)
def test_a_quarter_wave_of_magnesium_fluoride_at_three_laser_lines(
    wavelength_nm: float, thickness_nm: float, percent: float, rates: Rates
) -> None:
    line = np.array([wavelength_nm])
    assert quarter_wave_nm(wavelength_nm=wavelength_nm, index=1.38) == pytest.approx(thickness_nm, abs=1e-3)
    glass = Dispersion(rates.glass("N-BK7")).index(line)
    found = reflectance(indices=[1.38], thicknesses_nm=[thickness_nm], substrate_index=glass, wavelengths_nm=line)
    assert 100 * found[0] == pytest.approx(percent, abs=1e-4)


# The two thicknesses with which two films leave nothing on N-BK7: tan^2 of both phases in closed form (H. A. Macleod, Thin-Film
# Optical Filters, ch. 3, from memory).
@pytest.mark.parametrize(
    ("low", "high", "wavelength_nm", "thicknesses_nm"),
    [(1.38, 2.05, 532.0, (121.586, 18.791)), (1.45, 2.10, 1064.0, (236.586, 44.024)), (1.45, 2.10, 1550.0, (345.659, 63.768))],
)
def test_a_v_coat_has_its_zero_where_the_closed_form_puts_it(
    low: float, high: float, wavelength_nm: float, thicknesses_nm: tuple[float, float], rates: Rates
) -> None:
    line = np.array([wavelength_nm])
    glass = float(Dispersion(rates.glass("N-BK7")).index(line)[0])
    of_low = (glass - 1) * (high**2 - glass) * low**2 / ((low**2 * glass - high**2) * (glass - low**2))
    of_high = (glass - 1) * (glass - low**2) * high**2 / ((low**2 * glass - high**2) * (high**2 - glass))
    phases = (np.pi - np.arctan(np.sqrt(of_low)), np.arctan(np.sqrt(of_high)))
    exact = [phase * wavelength_nm / (2 * np.pi * index) for phase, index in zip(phases, (low, high), strict=True)]
    assert exact == pytest.approx(thicknesses_nm, abs=2e-3)
    found = reflectance(indices=[low, high], thicknesses_nm=exact, substrate_index=glass, wavelengths_nm=line)
    assert found[0] == pytest.approx(0.0, abs=1e-10)


# n and k: aluminium A. D. Rakic, Appl. Opt. 34, 4755 (1995); silver and gold S. Babar and J. H. Weaver, Appl. Opt. 54, 477 (2015), both as
# tabulated at https://refractiveindex.info (CC0), with SiO2 by I. H. Malitson, J. Opt. Soc. Am. 55, 1205 (1965): R in %, computed independently.
MIRRORS = [
    ("mirror-aluminium", 0, (92.19, 91.54, 90.56, 95.02, 97.49)),
    ("mirror-aluminium", 1, (88.38, 91.54, 90.26, 90.25, 95.51)),
    ("mirror-silver", 0, (97.48, 98.53, 99.04, 99.49, 99.57)),
    ("mirror-gold-bare", 0, (36.30, 84.20, 96.71, 99.14, 99.30)),
    ("mirror-aluminium-enhanced", 2, (92.56, 95.75, 95.12, 91.15, 93.11)),
]


@pytest.mark.parametrize(("coating", "over_metal", "percent"), MIRRORS)
def test_a_metal_mirror_reflects_as_computed(coating: str, over_metal: int, percent: tuple[float, ...], rates: Rates) -> None:
    """The layers of the row from the metal outwards, `over_metal` of them upon it."""
    layers = rates.coating(coating).layers[-1 - over_metal :]
    stack = stack_of(rates.coating(coating).model_copy(update={"layers": layers}))
    found = 100 * reflectance(
        indices=stack.at(LINES), thicknesses_nm=stack.thicknesses_nm, substrate_index=1.5, wavelengths_nm=LINES
    )
    assert found == pytest.approx(np.array(percent), abs=0.05)
    assert np.all(found < 100)


# Bare metal at 10.6 um from the same tables, %; computed independently.
@pytest.mark.parametrize(
    ("coating", "percent"), [("mirror-aluminium", 98.78), ("mirror-silver", 99.70), ("mirror-gold-bare", 99.48)]
)
def test_metals_in_the_far_infrared(coating: str, percent: float, rates: Rates) -> None:
    metal = stack_of(rates.coating(coating).model_copy(update={"layers": rates.coating(coating).layers[-1:]}))
    line = np.array([10_600.0])
    found = reflectance(indices=metal.at(line), thicknesses_nm=metal.thicknesses_nm, substrate_index=1.5, wavelengths_nm=line)
    assert 100 * found[0] == pytest.approx(percent, abs=0.05)


def test_published_averages_of_mirrors_are_kept(rates: Rates) -> None:
    """Protected aluminium above 85 % in the mean of 400 to 800 nm: http://xfphotonics.cn/detail.asp?id=23; silver above aluminium beyond
    450 nm: http://gemini.edu/sciops/telescopes-and-sites/optics."""  # fmt: skip
    glass = Dispersion(rates.glass("N-BK7"))
    aluminium, silver = (stack_of(rates.coating(name)) for name in ("mirror-aluminium", "mirror-silver"))
    over = left_on(aluminium, Asked(400.0, 800.0), glass)
    assert over is not None
    assert over.mean > 0.85
    for wavelength in (460.0, 600.0, 900.0, 1500.0):
        at = [left_on(stack, Asked(wavelength, wavelength), glass) for stack in (aluminium, silver)]
        assert at[0] is not None
        assert at[1] is not None
        assert at[1].least > at[0].least


# ((n - 1)/(n + 1))^2 in %, with n of germanium, silicon and zinc selenide at 10.6 um; computed independently.
@pytest.mark.parametrize(("index", "percent"), [(4.0028, 36.03), (3.4175, 29.95), (2.4028, 17.00)])
def test_bare_infrared_materials_reflect_a_sixth_to_a_third(index: float, percent: float) -> None:
    found = reflectance(indices=[], thicknesses_nm=[], substrate_index=index, wavelengths_nm=np.array([10_600.0]))
    assert 100 * found[0] == pytest.approx(percent, abs=0.02)


def test_a_quarter_wave_of_zinc_sulphide_makes_germanium_clear(rates: Rates) -> None:
    """2.20 at 10 um, 1136 nm: 0.89 %; computed independently."""
    stack = stack_of(rates.coating("ar-infrared-high"))
    found = reflectance(
        indices=stack.indices, thicknesses_nm=stack.thicknesses_nm, substrate_index=4.0032, wavelengths_nm=np.array([10_000.0])
    )
    assert 100 * found[0] == pytest.approx(0.89, abs=0.01)


def test_minutes_of_runs_are_those_of_practice(rates: Rates) -> None:
    """650 to 1050 nm: 4.1 min of fluoride and 12.6 of oxide, computed; V-coat at 1550 nm in oxides 14 to 23 min, protected mirror 1.5 to 2 h a run:
    from memory."""  # fmt: skip
    faster = rates.coating("ar-broad-650-1050")
    fluoride = [layer.model_copy(update={"rate_nm_per_s": 0.8}) for layer in faster.layers if layer.material == "MgF2"]
    oxide = [layer for layer in faster.layers if layer.material != "MgF2"]
    assert deposition_min(faster.model_copy(update={"layers": tuple(fluoride)})) == pytest.approx(4.1, abs=0.05)
    assert deposition_min(faster.model_copy(update={"layers": tuple(oxide)})) == pytest.approx(12.6, abs=0.05)
    assert 14 <= deposition_min(rates.coating("ar-v-1550")) <= 23
    assert 90 <= cycle_min(rates.coating("mirror-silver")) <= 120


def test_every_coating_of_the_rates_reflects_what_a_general_reference_says(rates: Rates) -> None:
    """S. J. Byrnes, Multilayer optical calculations, https://arxiv.org/abs/1603.02720, and his package tmm 0.2.0 (test only): to 1e-9, at
    the ends and the middle of each band, at 0 and 45 deg, absorbing stacks too."""  # fmt: skip
    for row in rates.coatings:
        stack, glass = stack_of(row), Dispersion(rates.glass("N-SF6"))
        first, last = row.band_from_nm or row.design_wavelength_nm, row.band_to_nm or row.design_wavelength_nm
        for wavelength in (first, (first + last) / 2, last):
            line = np.array([wavelength])
            behind = float(glass.index(line)[0]) if glass.covers(wavelength, wavelength) else 2.4
            layers = [complex(np.ravel(index)[0]) for index in stack.at(line)]
            for angle in (0.0, 45.0):
                found = reflectance(
                    indices=layers,
                    thicknesses_nm=stack.thicknesses_nm,
                    substrate_index=behind,
                    wavelengths_nm=line,
                    angle_deg=angle,
                )
                reference = [
                    tmm.coh_tmm(
                        kind, [1.0, *layers, behind], [np.inf, *stack.thicknesses_nm, np.inf], np.radians(angle), wavelength
                    )["R"]
                    for kind in ("s", "p")
                ]
                assert found[0] == pytest.approx(np.mean(reference), abs=1e-9), (row.name, wavelength, angle)


def test_bare_glass_is_the_stack_without_layers(rates: Rates) -> None:
    """4.22 % of N-BK7 at the d line, ((n_d - 1)/(n_d + 1))^2 with n_d 1.5168 (SCHOTT data sheet)."""
    left = left_on(BARE, Asked(587.5618, 587.5618), Dispersion(rates.glass("N-BK7")))
    assert left is not None
    assert 100 * left.worst == pytest.approx(4.216, abs=2e-3)
