"""How fast bound diamond takes a glass away: sawing, coring, generating, edging, pellets."""

from __future__ import annotations

import math
from dataclasses import dataclass

from services.optics.law import column, decided, figure_of, given, law
from services.process.domain.route.rate_rows import grinding_row
from services.shop.removal import generated_mm3_per_min
from shared_schemas.figure import Figure
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import GlassRow, GrindingRow, RateMissing, Rates

HG_LIMITS = (30, 60, 90, 120, 150)
"""Upper limits of the ISO 12844 classes HG1 to HG5, removed volume relative to N-SK16 = 100; HG6 is above the last."""

FIRST_CLASS, LAST_CLASS, REFERENCE_CLASS = 1, 6, 3


@dataclass(frozen=True)
class Grindability:
    """The ISO 12844 class of a glass, and whether the maker publishes it or it is fitted from other properties."""

    glass: GlassRow
    hg: int
    fitted: bool

    def figure(self) -> Figure:
        """The class as a figure: a column of the glass, or fitted from others."""
        name, ref, glass = "grindability_hg", Rates.ref("glasses", self.glass), self.glass
        if not self.fitted:
            return column(name, self.hg, "", ref)
        return figure_of(
            fitted_grindability, name=name, unit="", rate_row=ref, knoop_hk=given("knoop_hk", glass.knoop_hk or 0.0),
            density_g_cm3=given("density_g_cm3", glass.density_g_cm3 or 0.0, "g/cm3"), young_gpa=given("young_gpa", glass.young_gpa or 0.0, "GPa"),
        )  # fmt: skip


@dataclass(frozen=True)
class RemovalRate:
    """Volume that a stage takes off per minute in a glass, the row it comes from, the glass's class and what that class makes of it."""

    mm3_per_min: float
    row: GrindingRow
    grindability: Grindability
    factor: ClassFactor

    def figure(self) -> Figure:
        """The rate as a figure: that of the stage, scaled to the class."""
        name, unit, ref = "removal_mm3_per_min", "mm3/min", Rates.ref("grinding", self.row)
        of_row = given("removal_of_row", _rate(self.row), unit)
        factor = self.factor.figure(self.grindability)
        return figure_of(scaled_removal, name=name, unit=unit, rate_row=ref, removal_of_row=of_row, class_factor=factor)


@dataclass(frozen=True)
class GeneratingRate:
    """Volume that a cup wheel takes off a face per minute, by the row of the glass's class and the diameter of the blank [mm]."""

    row: GrindingRow
    grindability: Grindability
    blank_diameter_mm: float

    @property
    def mm3_per_min(self) -> float:
        """The rate; of a row without an infeed the same at every diameter."""
        if self.row.infeed_mm_per_min is None:
            return _rate(self.row)
        return generated_mm3_per_min(
            infeed_mm_per_min=self.row.infeed_mm_per_min, blank_diameter_mm=self.blank_diameter_mm, removal_limit_mm3_per_min=_limit(self.row)
        )  # fmt: skip

    def figure(self, blank_diameter: Figure) -> Figure:
        """The rate as a figure."""
        name, unit, ref = "removal_mm3_per_min", "mm3/min", Rates.ref("grinding", self.row)
        if self.row.infeed_mm_per_min is None:
            return decided(name, self.mm3_per_min, BY_CLASS, unit=unit, alternatives=[self.grindability.figure()], rate_row=ref)
        infeed = decided(
            "infeed_mm_per_min", self.row.infeed_mm_per_min, BY_CLASS, unit="mm/min", alternatives=[self.grindability.figure()]
        )
        return figure_of(
            generated_mm3_per_min, name=name, unit=unit, rate_row=ref, infeed_mm_per_min=infeed, blank_diameter_mm=blank_diameter,
            removal_limit_mm3_per_min=given("removal_limit_mm3_per_min", _limit(self.row), unit),
        )  # fmt: skip


BY_CLASS = "the row of the grindability class of the glass"


@dataclass(frozen=True)
class ClassFactor:
    """How much faster bound diamond cuts a class than class 3, and the rows of generating that say so."""

    of_class: GrindingRow
    of_reference: GrindingRow

    @property
    def value(self) -> float:
        """The ratio of their generating rates."""
        return class_factor(rate_of_class=_speed(self.of_class), rate_of_reference=_speed(self.of_reference))

    def figure(self, grindability: Grindability) -> Figure:
        """The factor as a figure, with the class of the glass."""
        of_class = _speed_figure("rate_of_class", self.of_class, BY_CLASS, [grindability.figure()])
        reference = _speed_figure(
            "rate_of_reference", self.of_reference, f"the row of class {REFERENCE_CLASS}, for which rates are stated", []
        )
        return figure_of(class_factor, unit="", rate_of_class=of_class, rate_of_reference=reference)


def _speed(row: GrindingRow) -> float:
    """How fast a class is generated: its infeed [mm/min], or the volume [mm3/min] of a row without one."""
    return _rate(row) if row.infeed_mm_per_min is None else row.infeed_mm_per_min


def _speed_figure(name: str, row: GrindingRow, reason: str, alternatives: list[Figure]) -> Figure:
    unit = "mm3/min" if row.infeed_mm_per_min is None else "mm/min"
    return decided(name, _speed(row), reason, unit=unit, alternatives=alternatives, rate_row=Rates.ref("grinding", row))


@law
def class_factor(*, rate_of_class: float, rate_of_reference: float) -> float:
    """How much faster bound diamond cuts a class of glass than the class for which rates are stated.

    Equation: rate_of_class / rate_of_reference
    """
    return rate_of_class / rate_of_reference


@law
def generating_min(*, volume_mm3: float, removal_mm3_per_min: float, spark_out_min: float) -> float:
    """Minutes [min] of generating: the volume at its rate, and the wheel at depth until it cuts no more.

    Equation: volume_mm3 / removal_mm3_per_min + spark_out_min
    """
    return volume_mm3 / removal_mm3_per_min + spark_out_min


@law
def scaled_removal(*, removal_of_row: float, class_factor: float) -> float:
    """Volume taken off per minute [mm3/min] in a glass of another class than the row is stated for.

    Equation: removal_of_row * class_factor
    """
    return removal_of_row * class_factor


@law
def cutting_min(*, volume_mm3: float, removal_mm3_per_min: float) -> float:
    """Minutes [min] in which bound diamond takes off a volume.

    Equation: volume_mm3 / removal_mm3_per_min
    """
    return volume_mm3 / removal_mm3_per_min


@law
def fitted_grindability(*, knoop_hk: float, density_g_cm3: float, young_gpa: float) -> int:
    """ISO 12844 class of a glass of which none is published, from hardness, density and modulus.

    Equation: min(max(floor(8.0839 - 0.0130441 * knoop_hk - 1.1044998 * density_g_cm3 + 0.0707764 * young_gpa + 0.5), 1), 6)
    Source: least squares over 104 SCHOTT glasses with a published class, R^2 0.37, computed
    """
    exact = 8.0839 - 0.0130441 * knoop_hk - 1.1044998 * density_g_cm3 + 0.0707764 * young_gpa
    return min(max(math.floor(exact + 0.5), FIRST_CLASS), LAST_CLASS)


def grindability_of(glass: GlassRow) -> Grindability:
    """The class of a glass; where the maker publishes none, a fit from hardness, density and modulus.

    Raises: RateMissing where the glass has neither class nor those three.
    """
    if glass.grindability_hg is not None:
        return Grindability(glass, glass.grindability_hg, fitted=False)
    if glass.knoop_hk is None or glass.density_g_cm3 is None or glass.young_gpa is None:
        raise RateMissing("glasses", f"grindability of {glass.name}, or its Knoop hardness, density and Young's modulus")
    fit = fitted_grindability(knoop_hk=glass.knoop_hk, density_g_cm3=glass.density_g_cm3, young_gpa=glass.young_gpa)
    return Grindability(glass, fit, fitted=True)


def grindability_class(relative_volume_percent: float) -> int:
    """ISO 12844 class of a removed volume relative to N-SK16 = 100: HG1 up to 30, HG2 to 60, … HG5 to 150, HG6 above.

    Raises: FigureOutOfRange for a volume that is not above 0.
    """
    if relative_volume_percent <= 0:
        raise FigureOutOfRange("removed volume relative to N-SK16 [%]", relative_volume_percent, "figures above 0")
    return FIRST_CLASS + sum(relative_volume_percent > limit for limit in HG_LIMITS)


def removal_rate(stage: str, glass: GlassRow, rates: Rates) -> RemovalRate:
    """Rate of sawing or coring in a glass; raises `RateMissing` for a stage or class without a row or a rate."""
    grindability = grindability_of(glass)
    row, factor = grinding_row(rates, stage), class_factor_of(grindability.hg, rates)
    removal = scaled_removal(removal_of_row=_rate(row), class_factor=factor.value)
    return RemovalRate(removal, row, grindability, factor)


def generating_rate(glass: GlassRow, blank_diameter_mm: float, rates: Rates, method: str = "") -> GeneratingRate:
    """Rate of generating a face of a glass by a method; raises `RateMissing` for a class without a row or a rate."""
    grindability = grindability_of(glass)
    return GeneratingRate(grinding_row(rates, "generate", grindability.hg, method), grindability, blank_diameter_mm)


def class_factor_of(hg: int, rates: Rates) -> ClassFactor:
    """How much faster bound diamond cuts a class than class 3."""
    return ClassFactor(grinding_row(rates, "generate", hg), grinding_row(rates, "generate", REFERENCE_CLASS))


def _rate(row: GrindingRow) -> float:
    if row.removal_mm3_per_min is None:
        raise RateMissing("grinding", f"removal_mm3_per_min of {row.name}")
    return row.removal_mm3_per_min


def _limit(row: GrindingRow) -> float:
    if row.removal_limit_mm3_per_min is None:
        raise RateMissing("grinding", f"removal_limit_mm3_per_min of {row.name}")
    return row.removal_limit_mm3_per_min
