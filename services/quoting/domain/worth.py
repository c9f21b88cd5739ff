"""What pieces of a part cost near enough for weighing risks: in floating point, as nothing here is a line of a price."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from services.quoting.domain.batch_losses import Losses
from shared_schemas.blanks import MaterialModel
from shared_schemas.operations import BoughtPart, Operation, Route
from shared_schemas.rates import Rates

CURVE_NUMBERS = np.unique(np.rint(np.geomspace(1, 1_000_000, 60)))


@dataclass(frozen=True)
class Step:
    """One operation in money of the base currency: the share of started pieces that reaches it, and what they cost there."""

    reach: float
    batch_size: int
    setup: float
    batch: float
    piece: float

    @property
    def each(self) -> float:
        """Cost of one piece more there, its share of a batch included."""
        return self.batch / self.batch_size + self.piece


@dataclass(frozen=True)
class PerMinute:
    """What a minute of a work centre costs, in the base currency."""

    machine: float
    labour: float


def per_minute(rates: Rates) -> dict[str, PerMinute]:
    """Of every work centre, by name."""
    return {
        row.name: PerMinute(float(row.machine_rate_per_h) / 60, float(row.labour_rate_per_h) / 60) for row in rates.work_centres
    }


@dataclass(frozen=True)
class Curve:
    """Cost over the number started, for reading between; arrays of shape (k,)."""

    number: np.ndarray
    cost: np.ndarray


@dataclass(frozen=True)
class Worth:
    """What a part costs: `inputs` is what goes into one started piece; `value` is the cost of one more good piece."""

    steps: tuple[Step, ...]
    inputs: float
    value: float

    def lot(self, started: int) -> float:
        """Cost of a lot of so many started pieces, set-ups and whole batches included; the mean of pieces at each operation."""
        return started * self.inputs + sum(
            step.setup + math.ceil(started * step.reach / step.batch_size - 1e-9) * step.batch + started * step.reach * step.piece
            for step in self.steps
        )

    @cached_property
    def again(self) -> Curve:
        """What a lot costs that makes good what is missing, read between 60 numbers: a lot is not less than one batch."""
        number = CURVE_NUMBERS
        cost = number * self.inputs
        for step in self.steps:
            through = number * step.reach
            cost = cost + step.setup + np.maximum(through / step.batch_size, 1.0) * step.batch + through * step.piece
        return Curve(number, cost)

    @cached_property
    def each(self) -> float:
        """Cost of one started piece more that begins no batch."""
        return self.inputs + sum(step.reach * step.piece for step in self.steps)

    def spread_by_piece(self, losses: Losses) -> float:
        """How much dearer a lot gets for each good piece that comes out beyond the mean: it has cost all operations.

        Notes:
            sum of cost_k x (1 - R_k) / (1 - Y), R_k being the share that reaches operation k: the regression of the pieces
            at k on the good ones when each is lost by itself. Source: derived.
        """
        lost = 1 - losses.mean_yield
        return sum(step.each * (1 - step.reach) for step in self.steps) / lost if lost > 0 else 0.0


def worth_of(operations: Sequence[Operation], *, inputs: float, rates: Rates) -> Worth:
    """Worth of a part whose started pieces each take `inputs` of glass or parts."""
    steps = []
    reach = 1.0
    for operation in operations:
        centre = rates.work_centre(operation.work_centre)
        machine, labour = float(centre.machine_rate_per_h) / 60, float(centre.labour_rate_per_h) / 60
        busy = machine + operation.attended_share * labour
        steps.append(
            Step(
                reach=reach,
                batch_size=operation.batch_size,
                setup=operation.setup_min * (machine + labour),
                batch=operation.batch_min * busy + float(operation.consumables),
                piece=operation.piece_min * busy,
            )
        )
        reach *= operation.yield_share * (1 - operation.batch_loss)
    return Worth(tuple(steps), inputs, (inputs + sum(step.reach * step.each for step in steps)) / reach)


def glass_for_one(materials: Sequence[MaterialModel]) -> dict[str, float]:
    """Cost of the glass of one blank of each element, at the largest purchase that the plan has."""
    found = {}
    for model in materials:
        last = model.steps[-1]
        for member in model.members:
            found[member] = float(last.cost) / last.blanks / len(model.members)
    return found


def worths_of(
    *, routes: Sequence[Route], materials: Sequence[MaterialModel], bought_parts: Sequence[BoughtPart], rates: Rates
) -> dict[str, Worth]:
    """Worth of every part; what a part consumes counts at the cost of one more of it."""
    glass = glass_for_one(materials)
    found: dict[str, Worth] = {}
    for route in routes:
        inputs = glass.get(route.part, 0.0) + sum(found[one.part].value * one.count for one in route.consumes)
        if route is routes[-1]:
            inputs += sum(float(part.unit_price) * part.count for part in bought_parts)
        found[route.part] = worth_of(route.operations, inputs=inputs, rates=rates)
    return found
