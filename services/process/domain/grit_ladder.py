"""Fine grinding: every grit takes away the damage of the one before."""

from __future__ import annotations

import math
from dataclasses import dataclass

from services.process.domain.rate_rows import grit_rows
from services.process.domain.removal import class_factor, grindability_of
from shared_schemas.figure import Figure
from shared_schemas.rates import GlassRow, GrindingRow, RateMissing, Rates

AA_FIT = (22.46, -2.783)
"""ln Aa = 22.46 - 2.783 ln HK, least squares over 134 OHARA glasses, R^2 0.84 (computed from the maker's data sheet)."""


def abrasion_of(glass: GlassRow) -> Figure:
    """Abrasion of a glass by loose grit, relative to a standard glass = 100; fitted from hardness where none is published."""
    if glass.abrasion_aa is not None:
        return Figure(name="abrasion Aa", value=glass.abrasion_aa, rate_row=Rates.ref("glasses", glass))
    if glass.knoop_hk is None:
        raise RateMissing("glasses", f"abrasion or Knoop hardness of {glass.name}")
    return Figure(
        name="abrasion Aa",
        value=abrasion_from_hardness(glass.knoop_hk),
        formula="exp(22.46 - 2.783 ln HK), fit over 134 glasses, R2 0.84; no abrasion is published",
        rate_row=Rates.ref("glasses", glass),
    )


def abrasion_from_hardness(knoop_hk: float) -> float:
    """Abrasion Aa fitted from Knoop hardness; Aa ~ HK^-2.8."""
    return math.exp(AA_FIT[0] + AA_FIT[1] * math.log(knoop_hk))


@dataclass(frozen=True)
class Rung:
    """One grit: what it must take off [um] and how long that takes with the change to it [min]."""

    row: GrindingRow
    removal_um: float
    minutes: float


def ladder(
    glass: GlassRow, *, method: str, first_grit_um: float, first_damage_multiple: float, rates: Rates
) -> tuple[tuple[Rung, ...], Figure]:
    """The rungs from the generator's grit down, and what of the glass they rest on.

    Args:
        method: `block` for loose abrasive, which follows the abrasion of a glass; `single` for diamond pellets, which
            follow its grindability class. The two rank glasses differently.

    Notes: removal_k = damage multiple x grit of the stage before; minutes = change-over + removal / (rate x factor), factor
    Aa/100 or the generating rate of the class over that of class 3. Damage of 2 to 3 grains is published for
    loose-abrasive lapping; three grains is the usual rule.
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
    return tuple(rungs), softness


def _softness(glass: GlassRow, method: str, rates: Rates) -> tuple[Figure, float]:
    if method == "single":
        grindability = grindability_of(glass)
        return grindability.figure, class_factor(grindability.hg, rates)
    abrasion = abrasion_of(glass)
    return abrasion, float(abrasion.value) / 100
