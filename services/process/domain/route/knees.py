"""What a tolerance costs: nothing down to its knee, then time and yield, and at last more than the shop can do."""

from __future__ import annotations

from dataclasses import dataclass

from services.process.domain.route.rate_rows import tolerance_row
from shared_schemas.figure import Figure
from shared_schemas.operation_kinds import OperationName
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import Rates, ToleranceClassRow


@dataclass(frozen=True)
class Demand:
    """One tolerance of one element or face: its attribute, the figure asked for, and where it stands (JSON pointer)."""

    attribute: str
    figure: float
    where: str


@dataclass(frozen=True)
class Below:
    """A tolerance below its knee, and how far: t_k/t - 1."""

    row: ToleranceClassRow
    figure: float
    overshoot: float


@dataclass(frozen=True)
class Knee:
    """What a set of tolerances does to one operation: factor on time, power on yield, and the tolerances that do it."""

    time_factor: float = 1.0
    yield_power: float = 1.0
    below: tuple[Below, ...] = ()

    def basis(self) -> tuple[Figure, ...]:
        """The figures behind factor and power."""
        return tuple(
            Figure(
                name=f"{one.row.attribute} below its knee",
                value=one.overshoot,
                formula="knee/t - 1",
                inputs=(
                    Figure(name="t", value=one.figure, unit=one.row.unit, source="the check report"),
                    Figure(name="knee", value=one.row.knee, unit=one.row.unit, source="same row"),
                ),
                rate_row=Rates.ref("tolerance_classes", one.row),
            )
            for one in self.below
        )


NO_DEMANDS: tuple[Demand, ...] = ()


def overshoot(*, figure: float, knee: float) -> float:
    """How far a tolerance is below its knee: t_k/t - 1, and 0 above it.

    Raises: FigureOutOfRange for a tolerance that is not above 0.
    """
    if figure <= 0:
        raise FigureOutOfRange("tolerance", figure, "figures above 0")
    return max(knee / figure - 1, 0.0)


def knee_of(operation: OperationName, demands: tuple[Demand, ...], rates: Rates) -> Knee:
    """Factor on time and power on yield that the demands bring to an operation.

    Notes:
        time factor = product of 1 + s (t_k/t - 1); yield' = yield ^ product of (1 + s_y (t_k/t - 1)). Continuous: 1 at
        the knee. In shape as the tolerance-cost tables of the literature; slopes and knees are the shop's own rows.
    """
    time_factor = yield_power = 1.0
    below = []
    for demand in demands:
        row = tolerance_row(rates, demand.attribute)
        if operation not in row.operations:
            continue
        by = overshoot(figure=demand.figure, knee=row.knee)
        if by > 0:
            time_factor *= 1 + row.time_slope * by
            yield_power *= 1 + row.yield_slope * by
            below.append(Below(row, demand.figure, by))
    return Knee(time_factor, yield_power, tuple(below))


def next_looser(row: ToleranceClassRow, figure: float) -> float | None:
    """The figure of the next class that is looser than `figure`, None for one that is commercial already."""
    looser = [limit for limit in (row.high_precision, row.precision, row.commercial) if limit > figure * 1.0001]
    return min(looser) if looser else None
