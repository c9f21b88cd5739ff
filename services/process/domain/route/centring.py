"""Bells or optics? How a lens is centred, as a blend of both: near the limit of the bells some lots go one way, some the other."""

from __future__ import annotations

import math

from services.optics.centring import z_b
from services.optics.law import figure_of, given, law
from services.process.domain.element_work import ElementWork
from shared_schemas.figure import Figure
from shared_schemas.rates import WorkCentreRow

HALF_SLIDE_Z_B = 0.125
SLIDE_SPREAD_Z_B = 0.0125
"""Z factor with bell radii at which one lens in two slides true between bells, and over what span that turns: nearly none at 0.10, nearly
all at 0.15. Source: https://www.kenko-tokina.co.jp/mmf/topics/447.html (2018), for the band; its shape is ours."""

BELLS_REACH_ARCMIN = 1.0
BELLS_REACH_POWER = 4
"""Tolerance that bells hold on one lot in two, and how fast that turns: bells hold one to two minutes of arc (from memory)."""


@law
def stuck_share(*, centring_z: float) -> float:
    """Share of lots whose lenses do not slide true between bells, by Z_A.

    Equation: 1 / (1 + exp((centring_z / 4 - 0.125) / 0.0125))
    Notes: Z_A is four times Z_B, for which the figures are stated.
    Source: https://www.kenko-tokina.co.jp/mmf/topics/447.html (2018), for the band from 0.10 to 0.15; the shape is ours
    """
    return 1 / (1 + math.exp(min((z_b(z_a=centring_z) - HALF_SLIDE_Z_B) / SLIDE_SPREAD_Z_B, 700.0)))


@law
def too_fine_share(*, centring_arcmin: float) -> float:
    """Share of lots of which bells do not hold the tolerance.

    Equation: 1 / (1 + centring_arcmin ** 4)
    Notes: bells hold one to two minutes of arc.
    Source: common practice, from memory
    """
    return 1 / (1 + (centring_arcmin / BELLS_REACH_ARCMIN) ** BELLS_REACH_POWER)


@law
def optical_share(*, stuck_share: float, too_fine_share: float) -> float:
    """Share of lots that are centred optically: all but those that both slide true and are held by bells.

    Equation: 1 - (1 - stuck_share) * (1 - too_fine_share)
    """
    return 1 - (1 - stuck_share) * (1 - too_fine_share)


@law
def rest(*, share: float) -> float:
    """What is left of all lots.

    Equation: 1 - share
    """
    return 1 - share


@law
def trued_min(*, align_min: float, trued_below_arcmin: float, centring_arcmin: float) -> float:
    """Minutes [min] of truing a lens in its cell, or of turning it once more, beyond what optical centring holds at once.

    Equation: align_min * max(trued_below_arcmin / centring_arcmin - 1, 0)
    Source: common practice, from memory
    """
    return align_min * max(trued_below_arcmin / centring_arcmin - 1, 0.0)


def optical_share_of(work: ElementWork) -> float:
    """The share of lots of an element that are centred optically."""
    stuck, fine = stuck_share(centring_z=work.centring_z), too_fine_share(centring_arcmin=work.centring_arcmin)
    return optical_share(stuck_share=stuck, too_fine_share=fine)


def optical_share_figure(work: ElementWork) -> Figure:
    """The share as a figure."""
    z = given("centring_z", work.centring_z, at=f"/check{work.where}/centring_z")
    return figure_of(
        optical_share, unit="", stuck_share=figure_of(stuck_share, unit="", centring_z=z),
        too_fine_share=figure_of(too_fine_share, unit="", centring_arcmin=tolerance_figure(work)),
    )  # fmt: skip


def tolerance_figure(work: ElementWork) -> Figure:
    """What the element is held to."""
    return given("centring_arcmin", work.centring_arcmin, "arcmin", at=f"/check{work.where}/centring_tolerance_arcmin")


def truing_min(work: ElementWork, centre: WorkCentreRow) -> float:
    """Minutes of truing an element at its work centre [min]; none where the row has none."""
    if centre.trued_below_arcmin is None:
        return 0.0
    return trued_min(align_min=centre.align_min, trued_below_arcmin=centre.trued_below_arcmin, centring_arcmin=work.centring_arcmin)
