"""Removal, polishing and grindability against published figures; run times against common practice."""

from __future__ import annotations

import numpy as np
import pytest

from services.process.domain.coating.run import cycle_min
from services.process.domain.faces.block import block_for
from services.process.domain.faces.fine_grinding import abrasion_from_hardness
from services.process.domain.faces.polishing import (
    CM2_PER_DYN_IN_PER_PA,
    depth_from_mass_um,
    figuring_loops,
    figuring_min,
    polishing_min,
    removal_rate_um_per_h,
    stock_um,
)
from services.process.domain.faces.removal import grindability_class, grindability_of
from services.process.domain.route.edging import rim_volume_mm3
from services.process.domain.route.rate_rows import grit_rows, polishing_for, work_centre_for
from shared_schemas.rates import Rates


def test_a_coefficient_of_16e_14_cm2_per_dyn_is_1_6e_12_per_pascal() -> None:
    """Fused silica, ceria on pitch: https://discovery.researcher.life/article/lttitlegtremoval-rates-of-fused-silica-with-cerium-oxidepitch-polishinglttitlegt/e7b2a411cdba3433b967baaddd360d8e"""
    assert pytest.approx(1.6e-12, rel=1e-12) == 16e-14 * CM2_PER_DYN_IN_PER_PA


# Preston, dh/dt = Kp P v; computed independently.
@pytest.mark.parametrize(
    ("kp", "pressure", "speed", "um_per_h", "hours_for_15_um"),
    [(1.6e-13, 10e3, 0.5, 2.88, 5.21), (7e-13, 10e3, 0.5, 12.6, 1.19), (1.6e-12, 10e3, 0.5, 28.8, 0.52), (1.6e-12, 20e3, 1.0, 115.2, 0.13)],
)  # fmt: skip
def test_preston_table(kp: float, pressure: float, speed: float, um_per_h: float, hours_for_15_um: float) -> None:
    found = removal_rate_um_per_h(preston_coefficient_per_pa=kp, pressure_pa=pressure, speed_m_per_s=speed)
    assert found == pytest.approx(um_per_h, rel=1e-9)
    minutes = polishing_min(removal_um=15, rate_um_per_h=found)
    assert minutes / 60 == pytest.approx(hours_for_15_um, abs=0.005)


def test_a_gram_off_100_cm2_of_fused_silica_is_45_um() -> None:
    """Method of weighing: UCRL-ID-115321, https://www.osti.gov/biblio/10193440; 45.45 um computed independently."""
    assert depth_from_mass_um(mass_g=1.0, density_g_cm3=2.2, area_cm2=100.0) == pytest.approx(45.45, abs=0.01)


# ISO 12844, removed volume relative to N-SK16 = 100: https://pmoptics.com/glass_mechanical_property.html
@pytest.mark.parametrize(
    ("percent", "hg"),
    [(1, 1), (30, 1), (30.1, 2), (60, 2), (90, 3), (90.1, 4), (100, 4), (120, 4), (120.1, 5), (150, 5), (150.1, 6)],
)
def test_grindability_limits(percent: float, hg: int) -> None:
    assert grindability_class(percent) == hg


@pytest.mark.parametrize(("glass", "hg"), [("N-BK7", 3), ("N-SF11", 4), ("N-SK16", 4)])
def test_grindability_of_three_published_glasses(glass: str, hg: int, rates: Rates) -> None:
    """The same page for N-BK7 and N-SF11; N-SK16 is the glass that the scale is defined by."""
    assert grindability_of(rates.glass(glass)).hg == hg


def test_the_abrasion_fit_is_that_of_the_published_sheets(rates: Rates) -> None:
    """ln Aa over ln HK of the OHARA glasses in the rates (the maker's data sheet): 22.46 - 2.783 ln HK, R^2 0.84."""
    rows = [row for row in rates.glasses if row.maker == "OHARA" and row.abrasion_aa and row.knoop_hk]
    hardness, abrasion = (np.log([getattr(row, name) for row in rows]) for name in ("knoop_hk", "abrasion_aa"))
    slope, intercept = np.polyfit(hardness, abrasion, 1)
    assert len(rows) == 134
    assert (intercept, slope) == (pytest.approx(22.46, abs=0.01), pytest.approx(-2.783, abs=0.002))
    assert np.corrcoef(hardness, abrasion)[0, 1] ** 2 == pytest.approx(0.84, abs=0.005)
    assert abrasion_from_hardness(knoop_hk=500.0) == pytest.approx(float(np.exp(intercept + slope * np.log(500.0))), rel=0.01)


def test_edging_a_27_mm_blank_to_25_takes_off_327_mm3() -> None:
    """pi/4 (27^2 - 25^2) 4 = 326.7 mm3; computed independently."""
    assert rim_volume_mm3(blank_diameter_mm=27, diameter_mm=25, edge_mm=4) == pytest.approx(326.7, abs=0.05)


def everyday_polishing_min(rates: Rates, irregularity_fringes: float) -> float:
    """One block of an everyday crown lens."""
    row = polishing_for(rates, rates.glass("N-BK7"), "block")
    loops = figuring_loops(start_fringes=row.start_figure_fringes, target_fringes=irregularity_fringes)
    rate = removal_rate_um_per_h(
        preston_coefficient_per_pa=row.preston_coefficient_per_pa, pressure_pa=row.pressure_pa, speed_m_per_s=row.speed_m_per_s
    )
    removal = stock_um(stock_multiple=row.stock_multiple, grit_um=grit_rows(rates, "block")[-1].grit_um)
    removing = polishing_min(removal_um=removal, rate_um_per_h=rate)
    figuring = figuring_min(loops=loops, measure_min=row.measure_min, correct_min=row.correct_min)
    return work_centre_for(rates, "polish", "block").cycle_min + removing + figuring


def test_one_polishing_run_of_an_everyday_crown_lens_is_about_an_hour(rates: Rates) -> None:
    """Common practice."""
    assert 45 <= everyday_polishing_min(rates, 1.0) <= 75


def test_a_coating_batch_of_an_everyday_lens_is_about_three_hours(rates: Rates) -> None:
    """Common practice."""
    assert 165 <= cycle_min(rates.coating("ar-single")) + work_centre_for(rates, "coat").cycle_min <= 210


# Relative cost of irregularity 1, 1/2, 1/4, 1/8 fringe is about 1, 1.2, 1.6, 2.5 (from memory, order of magnitude).
@pytest.mark.parametrize(("fringes", "low", "high"), [(0.5, 1.05, 1.4), (0.25, 1.2, 2.0), (0.125, 1.4, 3.2)])
def test_a_finer_figure_takes_longer_by_about_the_usual_factors(fringes: float, low: float, high: float, rates: Rates) -> None:
    assert low <= everyday_polishing_min(rates, fringes) / everyday_polishing_min(rates, 1.0) <= high


def test_spheres_share_a_block_by_the_dozen_and_aspheres_are_worked_one_at_a_time(rates: Rates) -> None:
    """https://qastack.com.br/photo/23882/why-is-aspheric-glass-expensive"""
    row = polishing_for(rates, rates.glass("N-BK7"), "block")
    lenses = [
        block_for(
            radius_mm=80.0, convex=True, diameter_mm=22.0, edge_mm=2.0, irregularity_fringes=1.0, aspheric=aspheric, row=row
        ).lenses
        for aspheric in (False, True)
    ]
    assert lenses[0] >= 12
    assert lenses[1] == 1
