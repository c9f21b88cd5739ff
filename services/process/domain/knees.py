"""What a tolerance costs: nothing down to its knee, then time and yield, and at last more than the shop can do."""

from __future__ import annotations

from dataclasses import dataclass

from services.process.domain.rate_rows import tolerance_row
from shared_schemas.figure import Figure
from shared_schemas.operations import OperationName
from shared_schemas.rates import Rates, ToleranceClassRow


@dataclass(frozen=True)
class Demand:
    """One tolerance of one element or face: its attribute, the figure asked for, and where it stands (JSON pointer)."""

    attribute: str
    figure: float
    where: str


@dataclass(frozen=True)
class Knee:
    """What a set of tolerances does to one operation: factor on time, power on yield, and the figures behind them."""

    time_factor: float
    yield_power: float
    basis: tuple[Figure, ...]


def overshoot(*, figure: float, knee: float) -> float:
    """How far a tolerance is below its knee: t_k/t - 1, and 0 above it."""
    return max(knee / figure - 1, 0.0)


def knee_of(operation: OperationName, demands: tuple[Demand, ...], rates: Rates) -> Knee:
    """Factor on time and power on yield that the demands bring to an operation.

    Notes:
        time factor = product of 1 + s (t_k/t - 1); yield' = yield ^ product of (1 + s_y (t_k/t - 1)). Smooth from 1 at
        the knee. After the tolerance-cost tables of the literature in shape; slopes and knees are the shop's own rows.
    """
    time_factor = yield_power = 1.0
    basis = []
    for demand in demands:
        row = tolerance_row(rates, demand.attribute)
        below = overshoot(figure=demand.figure, knee=row.knee)
        if operation in row.operations and below > 0:
            time_factor *= 1 + row.time_slope * below
            yield_power *= 1 + row.yield_slope * below
            basis.append(_figure(row, demand, below))
    return Knee(time_factor, yield_power, tuple(basis))


def _figure(row: ToleranceClassRow, demand: Demand, below: float) -> Figure:
    return Figure(
        name=f"{row.attribute} below its knee",
        value=below,
        formula="t_k/t - 1; time x (1 + time_slope ...), yield ^ (1 + yield_slope ...)",
        inputs=(Figure(name="t", value=demand.figure, unit=row.unit),),
        rate_row=Rates.ref("tolerance_classes", row),
    )


def next_looser(row: ToleranceClassRow, figure: float) -> float | None:
    """The figure of the next class that is looser than `figure`, None for one that is commercial already."""
    looser = [limit for limit in (row.high_precision, row.precision, row.commercial) if limit > figure * 1.0001]
    return min(looser) if looser else None
