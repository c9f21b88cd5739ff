"""What a tolerance costs: nothing down to its knee, then time and yield, and at last more than the shop can do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from services.optics.law import figure_of, given, law
from services.process.domain.route.rate_rows import tolerance_row
from services.shop.ramps import ramp, slowed_share
from shared_schemas.figure import Figure
from shared_schemas.operation_kinds import OperationName
from shared_schemas.rates import Rates, ToleranceClassRow


@dataclass(frozen=True)
class Demand:
    """One tolerance of one element or face: its attribute, the figure asked for, and where it stands (JSON pointer).

    `at` is where the figure stands in a quote.
    """

    attribute: str
    figure: float
    where: str
    at: str | None = None


@law
def time_factor(*, factors: Sequence[float]) -> float:
    """Factor on the minutes of an operation that several tolerances slow.

    Equation: product(factors)
    """
    return math.prod(factors)


@law
def slowed_min(*, minutes: float, time_factor: float) -> float:
    """Minutes [min] that tolerances slow.

    Equation: minutes * time_factor
    """
    return minutes * time_factor


@dataclass(frozen=True)
class Below:
    """A tolerance below its knee, the row that says where that is, and which operation it touches."""

    row: ToleranceClassRow
    demand: Demand
    operation: OperationName

    def ramp(self, slope: float) -> float:
        """The factor that it brings with one of the slopes of its row."""
        return ramp(slope=slope, knee=self.row.knee, figure=self.demand.figure, ramp_power=self.row.ramp_power)

    @property
    def slows(self) -> float:
        """The factor on the minutes of the operation."""
        slope = self.ramp(self.row.time_slope)
        share, row = self.row.time_share(self.operation), self.row
        return slowed_share(share=share, ramp=slope, strength=row.strength, strength_power=row.strength_power)

    def slowing(self) -> Figure:
        """The factor on the minutes as a figure."""
        return figure_of(
            slowed_share, name=f"{self.row.attribute}, time", unit="", rate_row=Rates.ref("tolerance_classes", self.row),
            share=given("share", self.row.time_share(self.operation)), ramp=self.ramp_figure("ramp", self.row.time_slope),
            strength=given("strength", self.row.strength), strength_power=given("strength_power", self.row.strength_power),
        )  # fmt: skip

    def ramp_figure(self, name: str, slope: float) -> Figure:
        """The factor that it brings with one of the slopes of its row, as a figure."""
        figure = given("figure", self.demand.figure, self.row.unit, at=self.demand.at)
        ref = Rates.ref("tolerance_classes", self.row)
        knee, power = given("knee", self.row.knee, self.row.unit), given("ramp_power", self.row.ramp_power)
        return figure_of(
            ramp, name=name, unit="", rate_row=ref, slope=given("slope", slope), knee=knee, figure=figure, ramp_power=power
        )


@dataclass(frozen=True)
class Knee:
    """What a set of tolerances does to one operation: factor on time, power on yield, and the tolerances that do it."""

    time_factor: float = 1.0
    yield_power: float = 1.0
    below: tuple[Below, ...] = ()

    @property
    def slowing(self) -> tuple[Below, ...]:
        """The tolerances that slow the operation."""
        return tuple(one for one in self.below if one.slows > 1)

    def slowed(self, minutes: Figure, *, told: bool = False) -> Figure:
        """The figure of minutes that these tolerances slow; `told` where the figure before it has the factors already."""
        if told:
            factor = given("time_factor", self.time_factor, source="as of the minutes of the batch")
        else:
            factor = figure_of(time_factor, unit="", factors=[one.slowing() for one in self.slowing])
        return figure_of(slowed_min, name="slowed_min", unit="min", minutes=minutes, time_factor=factor)

    def powers(self) -> tuple[Figure, ...]:
        """The figures behind the power on the yield."""
        harder = (one for one in self.below if one.row.yield_slope)
        return tuple(one.ramp_figure(f"{one.row.attribute}, yield", one.row.yield_slope) for one in harder)


NO_KNEE = Knee()
NO_DEMANDS: tuple[Demand, ...] = ()


def knee_of(operation: OperationName, demands: tuple[Demand, ...], rates: Rates) -> Knee:
    """Factor on time and power on yield that the demands bring to an operation: the products over those below their knees."""
    below = []
    for demand in demands:
        row = tolerance_row(rates, demand.attribute)
        if operation in row.operations and demand.figure < row.knee:
            below.append(Below(row, demand, operation))
    if not below:
        return NO_KNEE
    return Knee(
        time_factor(factors=[one.slows for one in below]), math.prod(one.ramp(one.row.yield_slope) for one in below), tuple(below)
    )


def next_looser(row: ToleranceClassRow, figure: float) -> float | None:
    """The figure of the next class that is looser than `figure`, None for one that is commercial already."""
    looser = [limit for limit in (row.high_precision, row.precision, row.commercial) if limit > figure * 1.0001]
    return min(looser) if looser else None
