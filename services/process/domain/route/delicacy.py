"""How much longer a delicate material is worked, handled and cleaned, and whether it stands hot wax."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

from services.optics.law import column, figure_of, given, law
from services.optics.thermal import thermal_shock_of
from shared_schemas.figure import Figure
from shared_schemas.operation_kinds import OperationName
from shared_schemas.rates import GlassRow, Rates

WORKED_WITH_CARE: frozenset[OperationName] = frozenset({"block", "polish", "deblock", "clean"})
"""Operations that take a delicate piece longer in all their minutes; at all others it is only handled with care."""

LOST_SOONER: frozenset[OperationName] = frozenset({"polish", "clean", "coat"})
"""Operations whose yield a delicate piece lowers."""

WAITS_STAINING: frozenset[OperationName] = frozenset({"polish", "coat"})
"""Operations at which a piece that stains must be rinsed, dried and handed on at once."""

HIGHEST_YIELD_POWER = 2.7
"""Where nothing is stated yields go to no higher power than those of barium fluoride; common practice."""

SHOCK_LIMIT_K = 30.0
"""A material that breaks at a smaller sudden difference of temperature stands no hot wax and no warm wash; common practice [K]."""

SOFTEST_ACID_CLASS = 5.0
"""Acid classes 51 to 53 are those of class 5, told apart by what the attack leaves (ISO 8424, from memory)."""


@law
def work_factor(*, knoop_hk: float, expansion_1e6_per_k: float, acid_class: float) -> float:
    """Factor on the minutes of polishing, cleaning, blocking and handling that a soft, expanding or soluble material brings.

    Equation: 1 + 0.6 * max(log(500 / knoop_hk), 0) + 0.08 * max(expansion_1e6_per_k - 10, 0) + 0.05 * max(acid_class - 2, 0)
    Source: common practice; so set that fluor-phosphate glasses come to 1.4 to 1.8 and calcium fluoride to 2.4
    """
    soft = 0.6 * max(math.log(500 / knoop_hk), 0.0)
    return 1 + soft + 0.08 * max(expansion_1e6_per_k - 10, 0.0) + 0.05 * max(acid_class - 2, 0.0)


@law
def stain_factor(*, stain_class: float) -> float:
    """Factor on the minutes of cleaning and handing on that a staining glass brings.

    Equation: 1 + 0.003921 * (exp(1.19241 * stain_class) - 1)
    Source: least squares to the relative cost of stain classes 0 to 5 in J. Plummer and W. Lagger, Cost-effective design, Photonics
    Spectra, December 1982, digits from memory; R^2 0.998
    """
    return 1 + 0.003921 * (math.exp(1.19241 * stain_class) - 1)


@law
def handled_min(*, minutes: float, factors: Sequence[float]) -> float:
    """Minutes [min] with a piece that must be worked or handled with care.

    Equation: minutes * product(factors)
    """
    return minutes * math.prod(factors)


def shocked(glass: GlassRow) -> bool:
    """Whether a glass does not stand hot wax."""
    shock = thermal_shock_of(glass)
    return shock is not None and shock < SHOCK_LIMIT_K


@dataclass(frozen=True)
class Delicacy:
    """What a material takes longer, by what its row states or by hardness, expansion, acid and stain class.

    A property that is not published adds nothing.
    """

    glass: GlassRow

    @cached_property
    def work_factor(self) -> float:
        """The factor on the minutes of working and handling it."""
        if self.glass.work_factor is not None:
            return self.glass.work_factor
        return work_factor(knoop_hk=self._knoop_hk, expansion_1e6_per_k=self._expansion, acid_class=self._acid_class)

    @cached_property
    def stain_factor(self) -> float:
        """The factor on the minutes of cleaning it and handing it on."""
        return stain_factor(stain_class=self.glass.stain_fr or 0.0)

    @property
    def yield_power(self) -> float:
        """The power to which yields go."""
        return min(self.work_factor, HIGHEST_YIELD_POWER) if self.glass.yield_power is None else self.glass.yield_power

    @property
    def _knoop_hk(self) -> float:
        return self.glass.knoop_hk or 500.0

    @property
    def _expansion(self) -> float:
        return self.glass.cte_30_70_1e6_per_k or 0.0

    @property
    def _acid_class(self) -> float:
        return min(self.glass.acid_sr or 1.0, SOFTEST_ACID_CLASS)

    def figure(self) -> Figure:
        """The work factor as a figure."""
        ref = Rates.ref("glasses", self.glass)
        if self.glass.work_factor is not None:
            return column("work_factor", self.glass.work_factor, "", ref)
        return figure_of(
            work_factor, unit="", rate_row=ref, knoop_hk=given("knoop_hk", self._knoop_hk), acid_class=given("acid_class", self._acid_class),
            expansion_1e6_per_k=given("expansion_1e6_per_k", self._expansion, "1e-6/K"),
        )  # fmt: skip

    def stain_figure(self) -> Figure:
        """The stain factor as a figure."""
        stain = given("stain_class", self.glass.stain_fr or 0.0)
        return figure_of(stain_factor, unit="", rate_row=Rates.ref("glasses", self.glass), stain_class=stain)


@dataclass(frozen=True)
class Care:
    """What the delicacy of a material does to one operation."""

    operation: OperationName
    delicacy: Delicacy

    @property
    def on_minutes(self) -> float:
        """Factor on the minutes of the work itself."""
        return math.prod(factor for factor, _ in self._factors(handling=False))

    @property
    def on_handling(self) -> float:
        """Factor on the minutes of taking a piece in and out."""
        return math.prod(factor for factor, _ in self._factors(handling=True))

    @property
    def yield_power(self) -> float:
        """The power to which the yield goes."""
        return self.delicacy.yield_power if self.operation in LOST_SOONER else 1.0

    def slowed(self, minutes: Figure, *, handling: bool) -> Figure:
        """A figure of minutes, with what they grow by; as it is where they do not."""
        factors = [figure() for _, figure in self._factors(handling=handling)]
        if not factors:
            return minutes
        name = f"{minutes.name}, with care"
        return figure_of(handled_min, name=name, unit="min", minutes=minutes, factors=factors)

    def powers(self) -> tuple[Figure, ...]:
        """The figures behind the power on the yield."""
        if self.yield_power == 1:
            return ()
        glass, name = self.delicacy.glass, "power, delicate"
        if glass.yield_power is not None:
            return (column(name, glass.yield_power, "", Rates.ref("glasses", glass)),)
        if self.delicacy.work_factor > HIGHEST_YIELD_POWER:
            return (given(name, HIGHEST_YIELD_POWER, source="the highest that is taken where none is stated, common practice"),)
        return (self.delicacy.figure().model_copy(update={"name": name}),)

    def _factors(self, *, handling: bool) -> list[tuple[float, Callable[[], Figure]]]:
        """The factors above 1, each with what writes its figure."""
        delicacy, operation = self.delicacy, self.operation
        found: list[tuple[float, Callable[[], Figure]]] = []
        if handling or operation in WORKED_WITH_CARE:
            found.append((delicacy.work_factor, delicacy.figure))
        if operation == "clean" or (handling and operation in WAITS_STAINING):
            found.append((delicacy.stain_factor, delicacy.stain_figure))
        return [(factor, figure) for factor, figure in found if factor > 1]
