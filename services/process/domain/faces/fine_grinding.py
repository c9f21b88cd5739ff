"""Fine grinding: every grit takes away the damage of the one before."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from services.optics.law import column, figure_of, given, law
from services.process.domain.faces.removal import class_factor_of, grindability_of
from services.process.domain.route.delicacy import Delicacy
from services.process.domain.route.lines import minutes_in_all
from services.process.domain.route.rate_rows import grit_rows
from shared_schemas.figure import Figure
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import GlassRow, GrindingRow, RateMissing, Rates

STANDARD_AA = 100.0
"""Abrasion of the standard glass that the rates of loose grits are stated for (JOGIS abrasion, from memory)."""


@dataclass(frozen=True)
class Abrasion:
    """Abrasion of a glass by loose grit, standard glass = 100, and whether it is published or fitted from hardness."""

    glass: GlassRow
    aa: float
    fitted: bool

    def figure(self) -> Figure:
        """The abrasion as a figure: a column of the glass, or fitted from its hardness."""
        name, ref = "abrasion_aa", Rates.ref("glasses", self.glass)
        if not self.fitted:
            return column(name, self.aa, "", ref)
        hardness = given("knoop_hk", self.glass.knoop_hk or 0.0)
        return figure_of(abrasion_from_hardness, name=name, unit="", rate_row=ref, knoop_hk=hardness)


def abrasion_of(glass: GlassRow) -> Abrasion:
    """Abrasion of a glass: the published one, or the fit from its hardness; raises `RateMissing` where it has neither."""
    if glass.abrasion_aa is not None:
        return Abrasion(glass, glass.abrasion_aa, fitted=False)
    if glass.knoop_hk is None:
        raise RateMissing("glasses", f"abrasion or Knoop hardness of {glass.name}")
    return Abrasion(glass, abrasion_from_hardness(knoop_hk=glass.knoop_hk), fitted=True)


@law
def abrasion_from_hardness(*, knoop_hk: float) -> float:
    """Abrasion Aa of a glass of which none is published: twice as hard wears seven times slower.

    Equation: exp(22.46 - 2.783 * log(knoop_hk))
    Source: least squares of ln Aa over 134 OHARA glasses, R^2 0.84, computed from the maker's data sheet

    Raises: FigureOutOfRange for a hardness that is not above 0.
    """
    if knoop_hk <= 0:
        raise FigureOutOfRange("Knoop hardness", knoop_hk, "figures above 0")
    return math.exp(22.46 - 2.783 * math.log(knoop_hk))


@law
def abrasion_factor(*, abrasion_aa: float) -> float:
    """How much faster loose grit takes a glass than the standard glass, for which its rates are stated.

    Equation: abrasion_aa / 100
    """
    return abrasion_aa / STANDARD_AA


@law
def held_speed(*, glass_factor: float, work_factor: float) -> float:
    """How much faster than the standard glass a glass is ground: at most three times, and a delicate one no faster at all.

    Equation: min(glass_factor, 1) + max(min(glass_factor, 3) - 1, 0) * max(1 - 3 * (work_factor - 1), 0)
    Notes: a soft glass is limited by scratches and by handling, not by how fast it goes; from a work factor of 4/3 on it has
    no head start.
    Source: common practice
    """
    return min(glass_factor, 1.0) + max(min(glass_factor, 3.0) - 1, 0.0) * max(1 - 3 * (work_factor - 1), 0.0)


@law
def damage_um(*, damage_multiple: float, grit_um: float) -> float:
    """Depth [um] that a grit damages, and the next one has to take off.

    Equation: damage_multiple * grit_um
    Notes: damage of 2 to 3 grains is published for lapping with loose abrasive; three grains is the usual rule.
    """
    return damage_multiple * grit_um


@law
def grit_min(*, change_over_min: float, removal_um: float, removal_um_per_min: float, glass_factor: float) -> float:
    """Minutes [min] of one grit, with the change to it.

    Equation: change_over_min + removal_um / (removal_um_per_min * glass_factor)
    """
    return change_over_min + removal_um / (removal_um_per_min * glass_factor)


@dataclass(frozen=True)
class Rung:
    """One grit: its rate [um/min], what it must take off [um], whose damage that is, and how long it takes with the change to it [min]."""

    row: GrindingRow
    um_per_min: float
    removal_um: float
    minutes: float
    after: GrindingRow

    def figure(self, glass_factor: Figure) -> Figure:
        """The minutes as a figure."""
        before = Rates.ref("grinding", self.after)
        removal = figure_of(
            damage_um, name="removal_um", rate_row=before, damage_multiple=given("damage_multiple", self.after.damage_multiple),
            grit_um=given("grit_um", self.after.grit_um, "um"),
        )  # fmt: skip
        return figure_of(
            grit_min, name=self.row.name, unit="min", rate_row=Rates.ref("grinding", self.row), glass_factor=glass_factor,
            change_over_min=given("change_over_min", self.row.change_over_min, "min"), removal_um=removal,
            removal_um_per_min=given("removal_um_per_min", self.um_per_min, "um/min"),
        )  # fmt: skip


@dataclass(frozen=True)
class Ladder:
    """The rungs, coarsest first, and what of the glass they rest on."""

    rungs: tuple[Rung, ...]
    glass_factor: Callable[[], Figure]

    @property
    def minutes(self) -> float:
        """Minutes of all grits [min]."""
        return minutes_in_all(parts_min=[rung.minutes for rung in self.rungs])

    def figure(self) -> Figure:
        """The minutes of all grits as a figure."""
        factor = self.glass_factor()
        again = given(factor.name, factor.value, source="as of the first grit")
        parts = [rung.figure(again if number else factor) for number, rung in enumerate(self.rungs)]
        return figure_of(minutes_in_all, name="run_min", unit="min", parts_min=parts)


def ladder(glass: GlassRow, *, method: str, after: GrindingRow, rates: Rates) -> Ladder:
    """The rungs below a stage, such as the generator, each of which takes off the damage of the one before.

    Args:
        method: `block` for loose abrasive, which follows the abrasion of a glass; `single` and `volume` for diamond pellets, which
            follow its grindability class. The two rank glasses differently.

    Raises: RateMissing for a grit without a rate, or a glass without the property it needs.
    """
    glass_factor, factor = _glass_factor(glass, method, rates)
    rungs = []
    for row in grit_rows(rates, method):
        if row.grit_um >= after.grit_um:
            continue
        if row.removal_um_per_min is None:
            raise RateMissing("grinding", f"removal_um_per_min of {row.name}")
        removal, rate = damage_um(damage_multiple=after.damage_multiple, grit_um=after.grit_um), row.removal_um_per_min
        minutes = grit_min(change_over_min=row.change_over_min, removal_um=removal, removal_um_per_min=rate, glass_factor=factor)
        rungs.append(Rung(row, rate, removal, minutes, after))
        after = row
    return Ladder(tuple(rungs), glass_factor)


def _glass_factor(glass: GlassRow, method: str, rates: Rates) -> tuple[Callable[[], Figure], float]:
    delicacy = Delicacy(glass)
    why, factor = _published_factor(glass, method, rates)
    held = held_speed(glass_factor=factor, work_factor=delicacy.work_factor)
    if held == factor:
        return why, factor
    return lambda: figure_of(held_speed, name="glass_factor", unit="", glass_factor=why(), work_factor=delicacy.figure()), held


def _published_factor(glass: GlassRow, method: str, rates: Rates) -> tuple[Callable[[], Figure], float]:
    if method in ("single", "volume"):
        grindability = grindability_of(glass)
        of_class = class_factor_of(grindability.hg, rates)
        return lambda: of_class.figure(grindability), of_class.value
    abrasion = abrasion_of(glass)
    return lambda: figure_of(abrasion_factor, unit="", abrasion_aa=abrasion.figure()), abrasion_factor(abrasion_aa=abrasion.aa)
