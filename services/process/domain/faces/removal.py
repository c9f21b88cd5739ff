"""How fast bound diamond takes a glass away: sawing, coring, generating, edging, pellets."""

from __future__ import annotations

from dataclasses import dataclass

from services.process.domain.route.rate_rows import grinding_row
from shared_schemas.figure import Figure
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import GlassRow, GrindingRow, RateMissing, Rates

HG_FIT = (8.0839, -0.0130441, -1.1044998, 0.0707764)
"""Class = c0 + c1 HK + c2 density + c3 E, least squares over 104 SCHOTT glasses with a published class, R^2 0.37 (computed)."""

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
        """The class as a figure; a fitted one says so."""
        formula = "fit from Knoop hardness, density and Young's modulus over 104 glasses, R2 0.37; no class is published"
        return Figure(
            name="grindability HG",
            value=self.hg,
            formula=formula if self.fitted else None,
            rate_row=Rates.ref("glasses", self.glass),
        )


@dataclass(frozen=True)
class RemovalRate:
    """Volume that a stage takes off per minute in a glass, the row it comes from, and the glass's class."""

    mm3_per_min: float
    row: GrindingRow
    grindability: Grindability

    def figure(self) -> Figure:
        """The rate as a figure."""
        formula = None if self.row.stage == "generate" else "rate of the row x generating rate of the class / that of class 3"
        return Figure(
            name="removal rate", value=self.mm3_per_min, unit="mm3/min", formula=formula, inputs=(self.grindability.figure(),),
            rate_row=Rates.ref("grinding", self.row),
        )  # fmt: skip


def grindability_of(glass: GlassRow) -> Grindability:
    """The class of a glass; where the maker publishes none, a fit from hardness, density and modulus.

    Raises: RateMissing where the glass has neither class nor those three.
    """
    if glass.grindability_hg is not None:
        return Grindability(glass, glass.grindability_hg, fitted=False)
    if glass.knoop_hk is None or glass.density_g_cm3 is None or glass.young_gpa is None:
        raise RateMissing("glasses", f"grindability of {glass.name}, or its Knoop hardness, density and Young's modulus")
    c0, c1, c2, c3 = HG_FIT
    found = c0 + c1 * glass.knoop_hk + c2 * glass.density_g_cm3 + c3 * glass.young_gpa
    return Grindability(glass, min(max(round(found), FIRST_CLASS), LAST_CLASS), fitted=True)


def grindability_class(relative_volume_percent: float) -> int:
    """ISO 12844 class of a removed volume relative to N-SK16 = 100: HG1 up to 30, HG2 to 60, … HG5 to 150, HG6 above.

    Raises: FigureOutOfRange for a volume that is not above 0.
    """
    if relative_volume_percent <= 0:
        raise FigureOutOfRange("removed volume relative to N-SK16 [%]", relative_volume_percent, "figures above 0")
    return FIRST_CLASS + sum(relative_volume_percent > limit for limit in HG_LIMITS)


def removal_rate(stage: str, glass: GlassRow, rates: Rates) -> RemovalRate:
    """Rate of a bound-diamond stage in a glass; raises `RateMissing` for a stage or class without a row or a rate."""
    grindability = grindability_of(glass)
    if stage == "generate":
        of_class = grinding_row(rates, "generate", grindability.hg)
        return RemovalRate(_rate(of_class), of_class, grindability)
    row = grinding_row(rates, stage)
    return RemovalRate(_rate(row) * class_factor(grindability.hg, rates), row, grindability)


def class_factor(hg: int, rates: Rates) -> float:
    """How much faster bound diamond cuts a class than class 3: the ratio of their generating rates."""
    return _rate(grinding_row(rates, "generate", hg)) / _rate(grinding_row(rates, "generate", REFERENCE_CLASS))


def _rate(row: GrindingRow) -> float:
    if row.removal_mm3_per_min is None:
        raise RateMissing("grinding", f"removal_mm3_per_min of {row.name}")
    return row.removal_mm3_per_min
