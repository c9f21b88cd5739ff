"""How long does polishing take? Preston's law, measuring and correcting, and how many runs it takes to reach a figure."""

from __future__ import annotations

import math

from services.optics.law import column, figure_of, given, law
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.faces.block import bending_of
from services.process.domain.faces.block_figures import bending_figure
from services.process.domain.route.lines import Minutes
from shared_schemas.figure import Figure
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import GrindingRow, PolishingRow, Rates

CM2_PER_DYN_IN_PER_PA = 10.0
"""1 cm2/dyn = 10 /Pa."""


@law
def removal_rate_um_per_h(*, preston_coefficient_per_pa: float, pressure_pa: float, speed_m_per_s: float) -> float:
    """Depth taken off per hour [um/h]: dh/dt = Kp P v.

    Equation: preston_coefficient_per_pa * pressure_pa * speed_m_per_s * 1e6 * 3600
    Source: F. W. Preston, J. Soc. Glass Technol. 11 (1927), from memory
    """
    return preston_coefficient_per_pa * pressure_pa * speed_m_per_s * 1e6 * 3600


@law
def polishing_min(*, removal_um: float, rate_um_per_h: float) -> float:
    """Minutes [min] to take off a depth.

    Equation: removal_um / rate_um_per_h * 60

    Raises: FigureOutOfRange when coefficient, pressure or speed is not above 0.
    """
    if rate_um_per_h <= 0:
        raise FigureOutOfRange("Kp P v", rate_um_per_h, "figures above 0")
    return removal_um / rate_um_per_h * 60


@law
def stock_um(*, stock_multiple: float, grit_um: float) -> float:
    """Depth [um] that polishing takes off: so many times the last grit.

    Equation: stock_multiple * grit_um
    """
    return stock_multiple * grit_um


@law
def pressed_lightly_min(*, minutes: float, bending_factor: float) -> float:
    """Minutes [min] of polishing an element that bends.

    Equation: minutes * bending_factor
    """
    return minutes * bending_factor


@law
def run_min(*, removing_min: float, measure_min: float, correct_min: float) -> float:
    """Minutes [min] of one run: down to the last damage, measured, and corrected once.

    Equation: removing_min + measure_min + correct_min
    """
    return removing_min + measure_min + correct_min


@law
def pass_share(*, figure_fringes: float, median_fringes: float, log_sd: float) -> float:
    """Share of the runs that reach a figure: log-normal about the median that a method achieves.

    Equation: erfc(-log(figure_fringes / median_fringes) / (log_sd * sqrt(2))) / 2
    Source: common practice; past the process window a finer figure shows as lost runs,
    https://blog.rossoptical.com/blog/when-tighter-specs-hurt-the-hidden-cost-of-overspecifying-irregularity

    Raises: FigureOutOfRange for a figure that is not above 0.
    """
    if figure_fringes <= 0:
        raise FigureOutOfRange("irregularity [fringe]", figure_fringes, "figures above 0")
    return math.erfc(-math.log(figure_fringes / median_fringes) / (log_sd * math.sqrt(2))) / 2


CORRECTED_BELOW = 0.9
"""Standard deviations below the median from which on runs are no longer made anew but corrected step by step; common practice."""

CORRECTING_POWER = 1.4456431
"""How steeply the runs grow there, in standard deviations: density over share of the normal law, so that there is no kink."""


@law
def finest_at_once_fringes(*, median_fringes: float, log_sd: float) -> float:
    """Figure [fringe] below which runs are not made anew but corrected step by step.

    Equation: median_fringes * exp(-0.9 * log_sd)
    """
    return median_fringes * math.exp(-CORRECTED_BELOW * log_sd)


@law
def runs(*, pass_share: float, figure_fringes: float, finest_at_once_fringes: float, log_sd: float) -> float:
    """Runs that a face takes on average until it has its figure.

    Equation: max(finest_at_once_fringes / figure_fringes, 1) ** (1.4456431 / log_sd) / pass_share
    Notes: one over the share that passes; below the finest figure that is reached at once, of which it is the share, in steps of
    correction that grow as a power of the figure and join that without a kink. So 1 % finer never takes 3 % longer.
    """
    return float(max(finest_at_once_fringes / figure_fringes, 1.0) ** (CORRECTING_POWER / log_sd) / pass_share)


@law
def until_good_min(*, run_min: float, runs: float) -> float:
    """Minutes [min] until a face has its figure.

    Equation: run_min * runs
    """
    return run_min * runs


def depth_from_mass_um(*, mass_g: float, density_g_cm3: float, area_cm2: float) -> float:
    """Depth that a loss of mass means: m / (rho A) [um].

    Raises: FigureOutOfRange for a density or an area that is not above 0.
    """
    if density_g_cm3 <= 0:
        raise FigureOutOfRange("density [g/cm3]", density_g_cm3, "figures above 0")
    if area_cm2 <= 0:
        raise FigureOutOfRange("area [cm2]", area_cm2, "figures above 0")
    return mass_g / (density_g_cm3 * area_cm2) * 1e4


def polishing_of(work: ElementWork, face: FaceWork, row: PolishingRow, last: GrindingRow) -> Minutes:
    """Minutes of polishing and figuring a face after the last grit."""
    rate = removal_rate_um_per_h(
        preston_coefficient_per_pa=row.preston_coefficient_per_pa, pressure_pa=row.pressure_pa, speed_m_per_s=row.speed_m_per_s
    )
    removing = polishing_min(removal_um=stock_um(stock_multiple=row.stock_multiple, grit_um=last.grit_um), rate_um_per_h=rate)
    once = run_min(removing_min=removing, measure_min=row.measure_min, correct_min=row.correct_min)

    def why() -> Figure:
        measure, correct = given("measure_min", row.measure_min, "min"), given("correct_min", row.correct_min, "min")
        removed, ref = _removing(row, last), Rates.ref("polishing", row)
        of_one = figure_of(run_min, rate_row=ref, removing_min=removed, measure_min=measure, correct_min=correct)
        return figure_of(until_good_min, name="run_min", unit="min", run_min=of_one, runs=_runs(row, face))

    return Minutes(until_good_min(run_min=once, runs=runs_until_good(row, face.irregularity_fringes)), why)


def runs_until_good(row: PolishingRow, figure_fringes: float) -> float:
    """Runs that a face takes on average by a polishing row until it has its figure."""
    finest = finest_at_once_fringes(median_fringes=row.median_fringes, log_sd=row.form_log_sd)
    share = pass_share(figure_fringes=max(figure_fringes, finest), median_fringes=row.median_fringes, log_sd=row.form_log_sd)
    return runs(pass_share=share, figure_fringes=figure_fringes, finest_at_once_fringes=finest, log_sd=row.form_log_sd)


def lightly(work: ElementWork, row: PolishingRow, usual: Minutes) -> Minutes:
    """Minutes of polishing an element: the usual ones of a stiff one, longer where it bends and is pressed lightly."""
    factor, before = bending_of(work, row), usual.why
    if factor == 1 or before is None:
        return usual
    return Minutes(
        pressed_lightly_min(minutes=usual.minutes, bending_factor=factor),
        lambda: figure_of(
            pressed_lightly_min, name="run_min", unit="min", minutes=before(), bending_factor=bending_figure(work, row)
        ),
    )


def _removing(row: PolishingRow, last: GrindingRow) -> Figure:
    ref = Rates.ref("polishing", row)
    grit = column("grit_um", last.grit_um, "um", Rates.ref("grinding", last))
    removal = figure_of(
        stock_um, name="removal_um", rate_row=ref, stock_multiple=given("stock_multiple", row.stock_multiple), grit_um=grit
    )
    pressure = given("pressure_pa", row.pressure_pa, "Pa")
    rate = figure_of(
        removal_rate_um_per_h, name="rate_um_per_h", unit="um/h", rate_row=ref, pressure_pa=pressure,
        preston_coefficient_per_pa=given("preston_coefficient_per_pa", row.preston_coefficient_per_pa, "1/Pa"),
        speed_m_per_s=given("speed_m_per_s", row.speed_m_per_s, "m/s"),
    )  # fmt: skip
    return figure_of(polishing_min, rate_row=ref, removal_um=removal, rate_um_per_h=rate)


def _runs(row: PolishingRow, face: FaceWork) -> Figure:
    ref = Rates.ref("polishing", row)
    median, spread = given("median_fringes", row.median_fringes, "fringe"), given("log_sd", row.form_log_sd)
    finest = figure_of(finest_at_once_fringes, rate_row=ref, median_fringes=median, log_sd=spread)
    asked = given("figure_fringes", face.irregularity_fringes, "fringe", at=f"/check{face.where}/irregularity_fringes")
    at_once = asked if face.irregularity_fringes >= float(finest.value) else finest
    share = figure_of(pass_share, unit="", rate_row=ref, figure_fringes=at_once, median_fringes=median, log_sd=spread)
    return figure_of(
        runs, unit="", rate_row=ref, pass_share=share, figure_fringes=asked, finest_at_once_fringes=finest, log_sd=spread
    )
