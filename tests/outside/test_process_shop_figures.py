"""Removal, polishing and grindability against published figures; run times against common practice."""

from __future__ import annotations

from typing import Literal

import numpy as np
import pytest
from scipy.integrate import quad

from services.optics.face_glass import area_mm2, over_face_mm3
from services.optics.surface import Profile, profile, slope
from services.process.domain.coating.run import cycle_min
from services.process.domain.faces.block import block_for
from services.process.domain.faces.fine_grinding import abrasion_from_hardness
from services.process.domain.faces.polishing import (
    CM2_PER_DYN_IN_PER_PA,
    depth_from_mass_um,
    polishing_min,
    removal_rate_um_per_h,
    run_min,
    runs_until_good,
    stock_um,
)
from services.process.domain.faces.removal import GeneratingRate, generating_min, grindability_class, grindability_of
from services.process.domain.route.centring import optical_share, stuck_share, too_fine_share
from services.process.domain.route.cutting import off_flat_blank_mm3, off_pressing_mm3
from services.process.domain.route.edging import edging_min, ring_mm2
from services.process.domain.route.knees import Demand, knee_of
from services.process.domain.route.lines import blended
from services.process.domain.route.rate_rows import grinding_row, grit_rows, polishing_for
from services.process.domain.route.work_centres import work_centre_for
from shared_schemas.prescription import Surface
from shared_schemas.rates import Rates
from tests.chain import quote_of, request_of, singlet


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


def front_of_the_published_triplet() -> Profile:
    """The first face of the published triplet (Smith, Modern Optical Engineering, 4th ed., p. 118-119), to a blank of 32 mm."""
    return profile(surface=Surface(radius_mm=37.40, clear_diameter_mm=29.4), rim_mm=16.0)


def test_the_first_face_of_the_published_triplet_gives_1663_mm3_out_of_a_disc_and_845_out_of_a_pressing() -> None:
    """Spherical cap of R 37.40 at 16 mm: h 3.5953; 0.3 mm left on a disc, 1.0 mm on a pressing. Computed independently."""
    face = front_of_the_published_triplet()
    assert face.sag_mm(16.0) == pytest.approx(3.5953, abs=5e-5)
    over, area = over_face_mm3(face=face, height_mm=16.0, side="front"), area_mm2(face=face, height_mm=16.0)
    assert off_flat_blank_mm3(over_face_mm3=over, blank_diameter_mm=32.0, allowance_mm=0.3) == pytest.approx(1662.68, abs=0.01)
    assert off_pressing_mm3(area_mm2=area, allowance_mm=1.0) == pytest.approx(844.86, abs=0.01)


@pytest.mark.parametrize("side", ["front", "back"])
@pytest.mark.parametrize("conic", [0.0, -0.7, 0.4])
@pytest.mark.parametrize("terms", [{}, {"4": -3e-6, "6": 1e-9}])
def test_glass_over_a_face_and_its_area_are_the_integrals_over_it(
    side: Literal["front", "back"], conic: float, terms: dict[str, float]
) -> None:
    """scipy.integrate over the rings of the face as drawn."""
    face = profile(surface=Surface(radius_mm=37.40, clear_diameter_mm=29.4, conic=conic, asphere=terms), rim_mm=16.0)
    low, high = face.sag_range_mm(16.0)
    outermost = low if side == "front" else high
    over, _ = quad(lambda r: 2 * np.pi * r * abs(face.sag_mm(r) - outermost), 0.0, 16.0)
    area, _ = quad(lambda r: 2 * np.pi * r * np.hypot(1.0, slope(surface=face.surface, height_mm=r)), 0.0, 16.0)
    assert over_face_mm3(face=face, height_mm=16.0, side=side) == pytest.approx(over, rel=1e-7)
    assert area_mm2(face=face, height_mm=16.0) == pytest.approx(area, rel=1e-7)


# A cup wheel goes 0.5 mm/min into class 3, half as fast into class 1, 2.2 times into class 6; a spindle takes 2000 mm3/min
# (common practice, from memory); computed independently.
@pytest.mark.parametrize(
    ("hg", "diameter", "removal"), [(1, 25, 122.7), (3, 25, 245.4), (6, 25, 540.0), (3, 102, 2000.0), (3, 32, 402.1)]
)
def test_what_a_cup_wheel_takes_off_a_minute(hg: int, diameter: float, removal: float, rates: Rates) -> None:
    rate = GeneratingRate(grinding_row(rates, "generate", hg), grindability_of(rates.glass("N-BK7")), diameter)
    assert rate.mm3_per_min == pytest.approx(removal, abs=0.1)


@pytest.mark.parametrize(("volume", "minutes"), [(1662.68, 4.135), (844.86, 2.101)])
def test_the_first_face_of_the_published_triplet_is_generated_in_4_minutes_out_of_a_disc_and_in_2_out_of_a_pressing(
    volume: float, minutes: float, rates: Rates
) -> None:
    """The same rates, nothing for sparking out; computed independently."""
    rate = GeneratingRate(grinding_row(rates, "generate", 3), grindability_of(rates.glass("N-BK7")), 32.0)
    assert generating_min(volume_mm3=volume, removal_mm3_per_min=rate.mm3_per_min, spark_out_min=0.0) == pytest.approx(
        minutes, abs=0.002
    )


def test_edging_a_27_mm_blank_to_25_takes_off_a_ring_of_82_mm2_in_2_minutes() -> None:
    """pi/4 (27^2 - 25^2) = 81.68 mm2, at 40 mm2/min (common practice, from memory); computed independently."""
    ring = ring_mm2(blank_diameter_mm=27, diameter_mm=25)
    assert ring == pytest.approx(81.681, abs=0.001)
    assert edging_min(ring_mm2=ring, edging_mm2_per_min=40.0) == pytest.approx(2.042, abs=0.001)


# Bells slide a lens true from Z of 0.10 to 0.15 on, with bell radii: https://www.kenko-tokina.co.jp/mmf/topics/447.html (2018); they hold
# one to two minutes of arc; 3 min between bells and 10 centred optically (from memory). Computed independently.
@pytest.mark.parametrize(
    ("z_b", "arcmin", "share", "minutes"),
    [(0.25, 6, 0.00082, 3.006), (0.25, 1, 0.50002, 6.500), (0.25, 0.5, 0.94118, 9.588), (0.14, 3, 0.24085, 4.686)],
)
def test_lots_go_from_bells_to_optics_as_z_falls_and_the_tolerance_tightens(
    z_b: float, arcmin: float, share: float, minutes: float
) -> None:
    optical = optical_share(stuck_share=stuck_share(centring_z=4 * z_b), too_fine_share=too_fine_share(centring_arcmin=arcmin))
    assert optical == pytest.approx(share, abs=1e-5)
    assert blended(by_this=3.0, by_other=10.0, share_of_other=optical) == pytest.approx(minutes, abs=1e-3)


def everyday_polishing_min(rates: Rates, irregularity_fringes: float) -> float:
    """One block of an everyday crown lens."""
    row = polishing_for(rates, rates.glass("N-BK7"), "block")
    rate = removal_rate_um_per_h(
        preston_coefficient_per_pa=row.preston_coefficient_per_pa, pressure_pa=row.pressure_pa, speed_m_per_s=row.speed_m_per_s
    )
    removal = stock_um(stock_multiple=row.stock_multiple, grit_um=grit_rows(rates, "block")[-1].grit_um)
    removing = polishing_min(removal_um=removal, rate_um_per_h=rate)
    once = run_min(removing_min=removing, measure_min=row.measure_min, correct_min=row.correct_min)
    slower = knee_of("polish", (Demand("irregularity", irregularity_fringes, "/x"),), rates).time_factor
    minutes = work_centre_for(rates, "polish", "block").cycle_min + once * runs_until_good(row, irregularity_fringes)
    return minutes * slower


def test_one_polishing_run_of_an_everyday_crown_lens_is_about_an_hour(rates: Rates) -> None:
    """Common practice."""
    assert 45 <= everyday_polishing_min(rates, 1.0) <= 75


def test_a_coating_batch_of_an_everyday_lens_is_about_three_hours(rates: Rates) -> None:
    """Common practice."""
    assert 165 <= cycle_min(rates.coating("ar-single")) + work_centre_for(rates, "coat").cycle_min <= 210


# Relative cost of irregularity 1, 1/2, 1/4, 1/8 fringe is about 1, 1.2, 1.6, 2.5 (from memory, order of magnitude).
@pytest.mark.parametrize(("fringes", "low", "high"), [(0.5, 1.05, 1.4), (0.25, 1.2, 2.0), (0.125, 1.4, 3.2)])
def test_a_finer_figure_costs_more_by_about_the_usual_factors(fringes: float, low: float, high: float, rates: Rates) -> None:
    finer, usual = (
        float(quote_of(request_of(singlet(form=f"3/3({figure})"), (25,)), rates).breaks[0].unit_price) for figure in (fringes, 1.0)
    )
    assert low <= finer / usual <= high


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
