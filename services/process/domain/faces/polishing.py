"""How long does polishing take? Preston's law, and the loops of measuring and correcting."""

from __future__ import annotations

import math

from services.optics.law import column, figure_of, given, law
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.faces.block import bending_of
from services.process.domain.faces.block_figures import bending_figure
from services.process.domain.route.lines import Minutes, minutes_in_all
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
def figuring_loops(*, start_fringes: float, target_fringes: float) -> int:
    """Loops of measuring and correcting, whole, at least 1.

    Equation: max(1 + ceil(log2(start_fringes / target_fringes) - 1e-9), 1)
    Source: each loop halves the error; from memory

    Raises: FigureOutOfRange for a target that is not above 0.
    """
    if target_fringes <= 0:
        raise FigureOutOfRange("irregularity [fringe]", target_fringes, "figures above 0")
    return max(1 + math.ceil(math.log2(start_fringes / target_fringes) - 1e-9), 1)


@law
def figuring_min(*, loops: int, measure_min: float, correct_min: float) -> float:
    """Minutes [min] of the loops; after the last measurement nothing is corrected.

    Equation: loops * measure_min + (loops - 1) * correct_min

    Raises: FigureOutOfRange for less than one loop.
    """
    if loops < 1:
        raise FigureOutOfRange("loops", loops, "1 and above")
    return loops * measure_min + (loops - 1) * correct_min


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
    loops = figuring_loops(start_fringes=row.start_figure_fringes, target_fringes=face.irregularity_fringes)
    figuring = figuring_min(loops=loops, measure_min=row.measure_min, correct_min=row.correct_min)

    def why() -> Figure:
        parts = [_removing(row, last), _figuring(row, face)]
        return figure_of(minutes_in_all, name="run_min", unit="min", parts_min=parts)

    return Minutes(minutes_in_all(parts_min=(removing, figuring)), why)


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


def _figuring(row: PolishingRow, face: FaceWork) -> Figure:
    ref = Rates.ref("polishing", row)
    start = given("start_fringes", row.start_figure_fringes, "fringe")
    target = given("target_fringes", face.irregularity_fringes, "fringe", at=f"/check{face.where}/irregularity_fringes")
    return figure_of(
        figuring_min, rate_row=ref,
        loops=figure_of(figuring_loops, name="loops", unit="", rate_row=ref, start_fringes=start, target_fringes=target),
        measure_min=given("measure_min", row.measure_min, "min"), correct_min=given("correct_min", row.correct_min, "min"),
    )  # fmt: skip
