"""What a tolerance costs: nothing down to its knee, then time and yield, and at last more than the shop can do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from services.optics.law import figure_of, given, law
from services.process.domain.route.rate_rows import tolerance_row
from shared_schemas.figure import Figure
from shared_schemas.operation_kinds import OperationName
from shared_schemas.problem import FigureOutOfRange
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


def overshoot(*, figure: float, knee: float) -> float:
    """How far a tolerance is below its knee: t_k/t - 1, and 0 above it.

    Raises: FigureOutOfRange for a tolerance that is not above 0.
    """
    if figure <= 0:
        raise FigureOutOfRange("tolerance", figure, "figures above 0")
    return max(knee / figure - 1, 0.0)


@law
def knee_factor(*, slope: float, knee: float, figure: float) -> float:
    """Factor on time, or power on yield, of one tolerance below its knee; 1 at the knee and above.

    Equation: 1 + slope * max(knee / figure - 1, 0)
    Notes: in shape as the tolerance-cost tables of the literature; slopes and knees are the shop's own rows.
    """
    return 1 + slope * overshoot(figure=figure, knee=knee)


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
    """A tolerance below its knee, and the row that says where that is."""

    row: ToleranceClassRow
    demand: Demand

    def times(self, slope: float) -> float:
        """The factor that it brings with one of the slopes of its row."""
        return knee_factor(slope=slope, knee=self.row.knee, figure=self.demand.figure)

    def factor(self, name: str, slope: float) -> Figure:
        """The factor as a figure."""
        figure = given("figure", self.demand.figure, self.row.unit, at=self.demand.at)
        ref = Rates.ref("tolerance_classes", self.row)
        knee = given("knee", self.row.knee, self.row.unit)
        return figure_of(knee_factor, name=name, unit="", rate_row=ref, slope=given("slope", slope), knee=knee, figure=figure)


@dataclass(frozen=True)
class Knee:
    """What a set of tolerances does to one operation: factor on time, power on yield, and the tolerances that do it."""

    time_factor: float = 1.0
    yield_power: float = 1.0
    below: tuple[Below, ...] = ()

    def slowed(self, minutes: Figure) -> Figure:
        """The figure of minutes that these tolerances slow; as it is where there are none."""
        if not self.below:
            return minutes
        factors = [one.factor(f"{one.row.attribute}, time", one.row.time_slope) for one in self.below]
        factor = figure_of(time_factor, unit="", factors=factors)
        return figure_of(slowed_min, name=f"{minutes.name}, slowed", unit="min", minutes=minutes, time_factor=factor)

    def powers(self) -> tuple[Figure, ...]:
        """The figures behind the power on the yield."""
        return tuple(one.factor(f"{one.row.attribute}, yield", one.row.yield_slope) for one in self.below if one.row.yield_slope)


NO_KNEE = Knee()
NO_DEMANDS: tuple[Demand, ...] = ()


def knee_of(operation: OperationName, demands: tuple[Demand, ...], rates: Rates) -> Knee:
    """Factor on time and power on yield that the demands bring to an operation: the products over those below their knees."""
    below = []
    for demand in demands:
        row = tolerance_row(rates, demand.attribute)
        if operation in row.operations and overshoot(figure=demand.figure, knee=row.knee) > 0:
            below.append(Below(row, demand))
    if not below:
        return NO_KNEE
    return Knee(
        time_factor(factors=[one.times(one.row.time_slope) for one in below]),
        math.prod(one.times(one.row.yield_slope) for one in below),
        tuple(below),
    )


def next_looser(row: ToleranceClassRow, figure: float) -> float | None:
    """The figure of the next class that is looser than `figure`, None for one that is commercial already."""
    looser = [limit for limit in (row.high_precision, row.precision, row.commercial) if limit > figure * 1.0001]
    return min(looser) if looser else None
