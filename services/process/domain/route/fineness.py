"""How long is a figure looked for that lies between those of two rows?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from services.optics.law import column, figure_of, given, law
from shared_schemas.figure import Figure
from shared_schemas.rates import InspectionRow, Rates


@law
def minutes_by_fineness(*, figure: float, finer: float, finer_min: float, coarser: float, coarser_min: float) -> float:
    """Minutes [min] of looking for a figure between those of two rows, so that no row begins with a step.

    Equation: finer_min * (figure / finer) ** (log(coarser_min / finer_min) / log(coarser / finer))
    """
    return float(finer_min * (figure / finer) ** (math.log(coarser_min / finer_min) / math.log(coarser / finer)))


@law
def spared_share(*, figure: float, commercial: float, precision: float) -> float:
    """Share of a look that only a sample of the lot takes: all of it at the commercial class, none of it at the precision class.

    Equation: min(max(log(figure / precision) / log(commercial / precision), 0), 1)
    """
    return min(max(math.log(figure / precision) / math.log(commercial / precision), 0.0), 1.0)


@dataclass(frozen=True)
class Between:
    """A figure that lies between the limits of two rows, the finer row first."""

    figure: float
    finer: tuple[InspectionRow, float]
    coarser: tuple[InspectionRow, float]

    def _inputs(self) -> dict[str, float]:
        (fine, finer), (coarse, coarser) = self.finer, self.coarser
        return {"figure": self.figure, "finer": finer, "finer_min": fine.minutes, "coarser": coarser, "coarser_min": coarse.minutes}

    @property
    def minutes(self) -> float:
        """Minutes of one look."""
        return minutes_by_fineness(**self._inputs())

    def written(self, name: str) -> Figure:
        """The minutes as a figure."""
        inputs = {key: given(key, value) for key, value in self._inputs().items()}
        inputs["finer_min"] = column("finer_min", self.finer[0].minutes, "min", Rates.ref("inspection", self.finer[0]))
        row = Rates.ref("inspection", self.coarser[0])
        return figure_of(
            minutes_by_fineness, name=name, unit="min", rate_row=row, figure=inputs["figure"], finer=inputs["finer"],
            finer_min=inputs["finer_min"], coarser=inputs["coarser"], coarser_min=inputs["coarser_min"],
        )  # fmt: skip


def by_fineness(figure: float, limits: Sequence[tuple[InspectionRow, float]]) -> tuple[InspectionRow, Between | None] | None:
    """The finest row that covers a figure, and where it lies between that and the next finer one; none where no row reaches so far.

    Args:
        limits: rows, each with the figure that its minutes are stated for.
    """
    covering = min(((row, limit) for row, limit in limits if figure <= limit), key=lambda one: one[1], default=None)
    if covering is None:
        return None
    finer = max(((row, limit) for row, limit in limits if limit < figure), key=lambda one: one[1], default=None)
    if finer is None or math.isinf(covering[1]) or not (finer[0].minutes and covering[0].minutes):
        return covering[0], None
    return covering[0], Between(figure, finer, covering)
