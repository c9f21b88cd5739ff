"""Ramps of tolerances, runs of polishing and work factors of materials against published and worked figures."""

from __future__ import annotations

import math

import pytest

from services.process.domain.faces.polishing import pass_share
from services.process.domain.route.delicacy import stain_factor, work_factor
from services.process.domain.route.rate_rows import polishing_for, tolerance_row
from services.shop.ramps import ramp
from shared_schemas.rates import Rates

# Relative cost, base 100, of J. Plummer and W. Lagger, Cost-effective design, Photonics Spectra, December 1982, digits from memory;
# beside each the least-squares fit, computed independently. Diameters are whole zones there, half of them here; dig 50 is 0.5 mm;
# deviations of 180, 120, 60, 30 and 15 arcsec are tilts of theirs over n - 1, at the published lens's n of 1.5168.
TABLE = {
    "diameter": ([0.05, 0.025, 0.0125, 0.00625, 0.00375], [100.0, 100.5, 102.9, 115.0, 150.0]),
    "centre_thickness": ([0.20, 0.10, 0.05, 0.025, 0.0125], [100.0, 102.8, 113.2, 152.3, 298.8]),
    "centring": ([second / 60 / 0.5168 for second in (180, 120, 60, 30, 15)], [100.0, 102.0, 108.5, 122.1, 150.9]),
    "irregularity": ([5.0, 2.0, 1.0, 0.5, 0.25, 0.125], [100.0, 105.3, 115.1, 136.9, 185.4, 293.1]),
    "imperfection_grade": ([0.5, 0.4, 0.3, 0.1, 0.05], [100.0, 104.0, 111.3, 187.8, 340.6]),
}


@pytest.mark.parametrize("attribute", TABLE)
def test_the_ramp_of_a_row_is_the_fit_to_the_published_table(attribute: str, rates: Rates) -> None:
    row = tolerance_row(rates, attribute)
    figures, fitted = TABLE[attribute]
    shape = {"slope": row.time_slope, "knee": row.knee, "ramp_power": row.ramp_power}
    found = [100 * ramp(figure=figure, **shape) for figure in figures]
    assert found == [pytest.approx(value, abs=0.15) for value in fitted]  # slopes are rounded to three digits


def test_power_is_a_quarter_as_dear_as_irregularity(rates: Rates) -> None:
    """Common practice: N fringes of power weigh like N/4 of irregularity."""
    power, irregularity = tolerance_row(rates, "power"), tolerance_row(rates, "irregularity")
    for fringes in (12.0, 5.0, 1.0):
        weights = [
            ramp(slope=row.time_slope, knee=row.knee, figure=figure, ramp_power=row.ramp_power)
            for row, figure in ((power, fringes), (irregularity, fringes / 4))
        ]
        assert weights[0] == pytest.approx(weights[1], rel=1e-12)


@pytest.mark.parametrize(("stain", "cost"), [(0, 100.0), (1, 100.9), (2, 103.9), (3, 113.6), (4, 145.8), (5, 251.9)])
def test_stain_classes_cost_as_the_fit_to_the_same_table(stain: float, cost: float) -> None:
    assert 100 * stain_factor(stain_class=stain) == pytest.approx(cost, abs=0.1)


# The whole price of the published lens as base ((1 + h S)/(1 + h S_c))^g, S the sum of the excesses of the ramps, fitted to the
# published 1 / 1.5 / 2.25 (https://www.optimaxsi.com/optics-in-one-week/); computed independently. The suite prices by operations;
# this only holds the ramps against those steps.
H, G, S_COMMERCIAL = 4.8754, 0.32752, 0.05994
PRECISION = {"diameter": 0.025, "centre_thickness": 0.05, "irregularity": 0.5, "centring": 42.64, "imperfection_grade": 0.4}
HIGH = {"diameter": 0.015, "centre_thickness": 0.025, "irregularity": 0.2, "centring": 21.32, "imperfection_grade": 0.1}


def closed_price(asked: dict[str, float], rates: Rates) -> float:
    excess = 0.0
    for attribute, figure in asked.items():
        row = tolerance_row(rates, attribute)
        ours = {"diameter": figure / 2, "centring": figure / 60 / 0.5168}.get(attribute, figure)
        excess += ramp(slope=row.time_slope, knee=row.knee, figure=ours, ramp_power=row.ramp_power) - 1
    return ((1 + H * excess) / (1 + H * S_COMMERCIAL)) ** G


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        (PRECISION, 1.5),
        (HIGH, 2.25),
        (PRECISION | {"irregularity": 0.25}, 1.7244),
        (PRECISION | {"irregularity": 0.20}, 1.8228),
        (PRECISION | {"irregularity": 0.19}, 1.8474),
    ],
)
def test_the_ramps_give_the_published_steps_of_a_whole_price(asked: dict[str, float], expected: float, rates: Rates) -> None:
    assert closed_price(asked, rates) == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize(("fringes", "share"), [(0.5, 0.91717), (0.25, 0.50000), (0.19, 0.29155), (0.125, 0.08283)])
def test_runs_on_a_block_pass_as_a_log_normal_says(fringes: float, share: float) -> None:
    """Median 0.25 fringe, log-sd 0.5 (common practice); computed independently."""
    assert pass_share(figure_fringes=fringes, median_fringes=0.25, log_sd=0.5) == pytest.approx(share, abs=1e-5)


def test_a_block_of_seven_and_a_single_spindle_cross_where_their_costs_do(rates: Rates) -> None:
    """A block of 7 in 60 min against 30 min singly; computed independently."""

    def minutes(method: str, once: float, fringes: float) -> float:
        row = polishing_for(rates, rates.glass("N-BK7"), method)
        return once / pass_share(figure_fringes=fringes, median_fringes=row.median_fringes, log_sd=row.form_log_sd)

    at = {fringes: (minutes("block", 60 / 7, fringes), minutes("single", 30.0, fringes)) for fringes in (0.20, 0.18, 0.18464)}
    assert at[0.20] == (pytest.approx(26.16, abs=0.005), pytest.approx(31.04, abs=0.005))
    assert at[0.18] == (pytest.approx(33.54, abs=0.005), pytest.approx(31.66, abs=0.005))
    assert at[0.18464][0] == pytest.approx(at[0.18464][1], abs=2e-3)


@pytest.mark.parametrize(
    ("knoop", "expansion", "acid", "factor"), [(610, 7.1, 1, 1.0000), (345, 12.74, 5, 1.5918), (158, 18.85, 1, 2.3992)]
)
def test_work_factors_of_a_crown_a_fluor_phosphate_and_calcium_fluoride(
    knoop: float, expansion: float, acid: float, factor: float
) -> None:
    """N-BK7, N-FK51A, CaF2: properties of the makers' sheets, the law from common practice; computed independently."""
    found = work_factor(knoop_hk=knoop, expansion_1e6_per_k=expansion, acid_class=acid)
    assert found == pytest.approx(factor, abs=1e-4)


def test_a_yield_of_calcium_fluoride_goes_to_its_work_factor() -> None:
    assert 0.96 ** work_factor(knoop_hk=158, expansion_1e6_per_k=18.85, acid_class=1) == pytest.approx(0.90670, abs=1e-4)


def test_the_published_lens_tilts_by_its_difference_of_edge() -> None:
    """0.05 mm on 25 mm at n 1.5168 deviate by 213.2 arcsec; computed independently."""
    assert 0.5168 * math.degrees(0.05 / 25) * 3600 == pytest.approx(213.2, abs=0.05)
