"""What a lot costs in floating point: the arithmetic of `operation_costs` without a line for each operation, for weighing many."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from services.quoting.costs.cost import run_minutes
from services.quoting.costs.rework import batches_scrapped_by, kept_by, rework_min_each
from services.quoting.costs.shared_runs import SharedRun
from services.shop.minutes import PerMinute
from shared_schemas.operations import Operation, Route


@dataclass(frozen=True)
class RoughStep:
    """One operation in money of the base currency. `counted` is there where its minutes do not go by batches and pieces alone."""

    batch_size: int
    setup: float
    batch: float
    piece: float
    kept: float
    shared_run: str | None
    busy: float
    counted: Operation | None
    centre: PerMinute


@dataclass(frozen=True)
class RoughRoute:
    """A route in money."""

    part: str
    steps: tuple[RoughStep, ...]

    def cost(self, started: int, runs: Mapping[str, SharedRun]) -> float:
        """Cost of all operations when so many are started; of runs that parts share, what its pieces bear."""
        amount, reaching = 0.0, float(started)
        for step in self.steps:
            pieces = math.ceil(round(reaching, 9))
            shared = runs.get(step.shared_run) if step.shared_run else None
            batches = float(-(-pieces // step.batch_size)) if shared is None else shared.borne(pieces, step.batch_size)
            amount += step.setup + batches * step.batch + pieces * step.piece
            if step.counted is not None:
                amount += step.busy * run_minutes(step.counted, step.centre.row, pieces=pieces, batches=batches)
            reaching *= step.kept
        return amount


def rough_route(route: Route, per_minute: Mapping[str, PerMinute]) -> RoughRoute:
    """A route in money, at what minutes of its work centres cost."""
    return RoughRoute(route.part, tuple(_step(operation, per_minute[operation.work_centre]) for operation in route.operations))


def _step(operation: Operation, centre: PerMinute) -> RoughStep:
    busy = centre.attended(operation.attended_share)
    counted = bool(operation.sampled) or (centre.learns and operation.batch_size == 1)
    return RoughStep(
        batch_size=operation.batch_size,
        setup=operation.setup_min * centre.attended(1.0) + float(operation.lot_charge),
        batch=(0.0 if counted else operation.batch_min * busy) + float(operation.consumables),
        piece=(0.0 if counted else operation.piece_min * busy) + rework_min_each(operation) * centre.attended(1.0),
        kept=kept_by(operation) * (1 - batches_scrapped_by(operation)),
        shared_run=operation.shared_run,
        busy=busy,
        counted=operation if counted else None,
        centre=centre,
    )
