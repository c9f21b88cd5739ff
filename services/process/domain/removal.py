"""Glass taken away by bound diamond: sawing, coring, generating; and how fast a glass lets it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from services.process.domain.rate_rows import grinding_row
from shared_schemas.figure import Figure
from shared_schemas.rates import GlassRow, GrindingRow, Rates

HG_FIT = (8.0839, -0.0130441, -1.1044998, 0.0707764)
"""Class = c0 + c1 HK + c2 density + c3 E, least squares over 104 SCHOTT glasses with a published class, R^2 0.37 (computed)."""

FIRST_CLASS, LAST_CLASS, REFERENCE_CLASS = 1, 6, 3


@dataclass(frozen=True)
class Grindability:
    """The ISO 12844 class of a glass, and whether it is published or fitted."""

    hg: int
    figure: Figure


def grindability_of(glass: GlassRow) -> Grindability:
    """The class of a glass; where the maker publishes none, a fit from hardness, density and modulus, and the figure says so."""
    row = Rates.ref("glasses", glass)
    if glass.grindability_hg is not None:
        return Grindability(glass.grindability_hg, Figure(name="grindability HG", value=glass.grindability_hg, rate_row=row))
    c0, c1, c2, c3 = HG_FIT
    fitted = c0 + c1 * (glass.knoop_hk or 500) + c2 * (glass.density_g_cm3 or 3.0) + c3 * (glass.young_gpa or 80)
    hg = min(max(round(fitted), FIRST_CLASS), LAST_CLASS)
    formula = "fit from Knoop hardness, density and Young's modulus over 104 glasses, R2 0.37; no class is published"
    return Grindability(hg, Figure(name="grindability HG", value=hg, formula=formula, rate_row=row))


def grindability_class(relative_volume_percent: float) -> int:
    """ISO 12844 class of a removed volume relative to N-SK16 = 100: 1 up to 30, 2 to 60, 3 to 90, 4 to 120, 5 to 150, 6 above."""
    return 1 + sum(relative_volume_percent > limit for limit in (30, 60, 90, 120, 150))


def removal_rate(stage: str, glass: GlassRow, rates: Rates) -> tuple[float, GrindingRow, Figure]:
    """Volume that a bound-diamond stage takes off per minute in a glass [mm3/min], with its row and class."""
    grindability = grindability_of(glass)
    of_class = grinding_row(rates, "generate", grindability.hg)
    if stage == "generate":
        return _rate(of_class), of_class, grindability.figure
    row = grinding_row(rates, stage)
    return _rate(row) * class_factor(grindability.hg, rates), row, grindability.figure


def class_factor(hg: int, rates: Rates) -> float:
    """How much faster bound diamond cuts a class than class 3: the ratio of their generating rates."""
    return _rate(grinding_row(rates, "generate", hg)) / _rate(grinding_row(rates, "generate", REFERENCE_CLASS))


def _rate(row: GrindingRow) -> float:
    assert row.removal_mm3_per_min is not None, f"{row.name} has no removal_mm3_per_min"
    return row.removal_mm3_per_min


def core_volume_mm3(*, diameter_mm: float, thickness_mm: float, kerf_mm: float) -> float:
    """Ring that a core drill turns to slurry: pi/4 ((d + 2k)^2 - d^2) t [mm3]."""
    return math.pi / 4 * ((diameter_mm + 2 * kerf_mm) ** 2 - diameter_mm**2) * thickness_mm


def rim_volume_mm3(*, blank_diameter_mm: float, diameter_mm: float, edge_mm: float) -> float:
    """Ring that centring takes off: pi/4 (D_b^2 - D^2) ET [mm3]."""
    return math.pi / 4 * (blank_diameter_mm**2 - diameter_mm**2) * edge_mm
