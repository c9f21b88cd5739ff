"""Fine grinding: every grit takes away the damage of the one before."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from services.process.domain.faces.removal import class_factor, grindability_of
from services.process.domain.route.rate_rows import grit_rows
from shared_schemas.figure import Figure
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import GlassRow, GrindingRow, RateMissing, Rates

AA_FIT = (22.46, -2.783)
"""ln Aa = 22.46 - 2.783 ln HK, least squares over 134 OHARA glasses, R^2 0.84 (computed from the maker's data sheet)."""

STANDARD_AA = 100.0
"""Abrasion of the standard glass that the rates of loose grits are stated for (JOGIS abrasion, from memory)."""


@dataclass(frozen=True)
class Abrasion:
    """Abrasion of a glass by loose grit, standard glass = 100, and whether it is published or fitted from hardness."""

    glass: GlassRow
    aa: float
    fitted: bool

    def figure(self) -> Figure:
        """The abrasion as a figure; a fitted one says so."""
        formula = "exp(22.46 - 2.783 ln HK), fit over 134 glasses, R2 0.84; no abrasion is published" if self.fitted else None
        return Figure(name="abrasion Aa", value=self.aa, formula=formula, rate_row=Rates.ref("glasses", self.glass))


def abrasion_of(glass: GlassRow) -> Abrasion:
    """Abrasion of a glass: the published one, or the fit from its hardness; raises `RateMissing` where it has neither."""
    if glass.abrasion_aa is not None:
        return Abrasion(glass, glass.abrasion_aa, fitted=False)
    if glass.knoop_hk is None:
        raise RateMissing("glasses", f"abrasion or Knoop hardness of {glass.name}")
    return Abrasion(glass, abrasion_from_hardness(glass.knoop_hk), fitted=True)


def abrasion_from_hardness(knoop_hk: float) -> float:
    """Abrasion Aa fitted from Knoop hardness: Aa ~ HK^-2.8, so twice as hard wears seven times slower.

    Raises: FigureOutOfRange for a hardness that is not above 0.
    """
    if knoop_hk <= 0:
        raise FigureOutOfRange("Knoop hardness", knoop_hk, "figures above 0")
    return math.exp(AA_FIT[0] + AA_FIT[1] * math.log(knoop_hk))


@dataclass(frozen=True)
class Rung:
    """One grit: what it must take off [um] and how long that takes with the change to it [min]."""

    row: GrindingRow
    removal_um: float
    minutes: float


@dataclass(frozen=True)
class Ladder:
    """The rungs, coarsest first, and what of the glass they rest on."""

    rungs: tuple[Rung, ...]
    softness: Callable[[], Figure]


def ladder(glass: GlassRow, *, method: str, first_grit_um: float, first_damage_multiple: float, rates: Rates) -> Ladder:
    """The rungs from the generator's grit down.

    Args:
        method: `block` for loose abrasive, which follows the abrasion of a glass; `single` for diamond pellets, which
            follow its grindability class. The two rank glasses differently.

    Notes: removal_k = damage multiple x grit of the stage before; minutes = change-over + removal / (rate x factor), factor
    Aa/100 or the generating rate of the class over that of class 3. Damage of 2 to 3 grains is published for
    loose-abrasive lapping; three grains is the usual rule.

    Raises: RateMissing for a grit without a rate, or a glass without the property it needs.
    """
    softness, factor = _softness(glass, method, rates)
    grit, multiple = first_grit_um, first_damage_multiple
    rungs = []
    for row in grit_rows(rates, method):
        if row.grit_um >= grit:
            continue
        if row.removal_um_per_min is None:
            raise RateMissing("grinding", f"removal_um_per_min of {row.name}")
        removal = multiple * grit
        rungs.append(Rung(row, removal, row.change_over_min + removal / (row.removal_um_per_min * factor)))
        grit, multiple = row.grit_um, row.damage_multiple
    return Ladder(tuple(rungs), softness)


def _softness(glass: GlassRow, method: str, rates: Rates) -> tuple[Callable[[], Figure], float]:
    if method == "single":
        grindability = grindability_of(glass)
        return grindability.figure, class_factor(grindability.hg, rates)
    abrasion = abrasion_of(glass)
    return abrasion.figure, abrasion.aa / STANDARD_AA
