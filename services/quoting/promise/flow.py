"""How batches of one part move from operation to operation: the next one begins when its first batch is there."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from services.optics.law import law
from services.quoting.costs.cost import OperationCost
from services.quoting.costs.suppliers import away_h
from services.quoting.promise.waits import Waits, places_of, turns_of
from services.quoting.risk.orders import DATED
from services.shop.calendar import WorkingCalendar
from shared_schemas.operation_kinds import OperationName
from shared_schemas.operations import Face
from shared_schemas.rates import WorkCentreRow

Numbers = npt.NDArray[np.float64]

LEAST_H = 0.01
"""Waits behind other parts of the order below this are left out [h]."""
LEAST_MET = 0.4
"""Share of the work of the other parts at a work centre that a part meets there when it is little; of much work it meets all."""
MUCH_H = 30.0
"""Hours of other parts at each station of which half of the rest is met (both calibrated against simulated shops)."""


class Step(NamedTuple):
    """One operation of a part: where, and its set-up and batches on one station [h].

    `batch_h` is the mean over the batches, the minutes of single pieces and what is learned counted in; `borne_h` is all the
    time that it takes of its work centre, where other parts share batches only its part of these. `visit` names it in the draws.
    """

    work_centre: WorkCentreRow
    name: str
    visit: str
    setup_h: float
    batch_h: float
    batches: int
    batch_size: int
    borne_h: float
    operation: OperationName
    face: Face | None
    rests_h: float = 0.0
    """Working hours for which what comes to it rests or is away before."""

    @property
    def work_h(self) -> float:
        """Set-up and all batches on one station."""
        return self.setup_h + self.batches * self.batch_h

    def again_h(self, pieces: int) -> float:
        """Set-up and the batches of so many pieces, no more than the first time [h]."""
        return self.rests_h + self.setup_h + min(math.ceil(pieces / self.batch_size), max(self.batches, 1)) * self.batch_h


@dataclass(frozen=True)
class Passage:
    """A part in time, counted in working hours from the order on, in every draw: it arrives, each operation is done, and what of it waits.

    `readies` are when each operation could begin, were nothing before it.
    """

    arrival: Numbers
    readies: tuple[Numbers, ...]
    finishes: tuple[Numbers, ...]
    waited: Numbers
    fed: tuple[_Fed, ...] = ()
    """The operations at its end that go on side by side."""

    @property
    def done(self) -> Numbers:
        """When the last piece is done."""
        return self.finishes[-1]

    def first(self, pieces: int) -> Numbers:
        """When the first so many pieces are done, C(pieces) of the last operation as told below; of a lot that goes in one batch when all are."""
        return _first_there(self.fed, pieces)

    @cached_property
    def ready_h(self) -> tuple[float, ...]:
        """When each operation could begin, on average over the draws [h]."""
        return tuple(float(one.mean()) for one in self.readies)

    @cached_property
    def finish_h(self) -> tuple[float, ...]:
        """When each operation is done, on average over the draws [h]."""
        return tuple(float(one.mean()) for one in self.finishes)


def steps_of(costs: Sequence[OperationCost], calendar: WorkingCalendar) -> tuple[Step, ...]:
    """The steps of a route. A work centre that works more than one shift does as much more in an hour of the calendar."""
    seen: dict[tuple[str, str | None], int] = {}
    steps = []
    for cost in costs:
        operation = cost.operation
        key = (operation.operation, operation.face)
        seen[key] = seen.get(key, 0) + 1
        step = _step(cost, seen[key], calendar.pace(cost.work_centre.shifts))
        if operation.wait_days:
            step = step._replace(rests_h=away_h(lead_days=operation.wait_days, hours_per_week=calendar.hours_per_week))
        steps.append(step)
    return tuple(steps)


def _step(cost: OperationCost, time: int, pace: float) -> Step:
    operation = cost.operation
    if operation.shared_run is None:
        batch_min = (cost.machine_min - operation.setup_min) / cost.batches if cost.batches else 0.0
    else:
        batch_min = operation.batch_min + operation.piece_min * cost.pieces / max(cost.batches, 1)
    called = operation.method if operation.operation == "own_work" else operation.operation.replace("_", " ")
    name = f"{called}{f' {operation.face}' if operation.face else ''}"
    per_h = 60 * pace
    return Step(
        cost.work_centre,
        name,
        f"{cost.part}, {name} {time}",
        operation.setup_min / per_h,
        batch_min / per_h,
        cost.batches,
        operation.batch_size,
        cost.machine_min / per_h,
        operation.operation,
        operation.face,
    )


@law
def behind_others_h(*, others_h: float, stations: int, least_met: float, much_h: float) -> float:
    """Hours for which the other parts of an order stand before the last of them at a work centre [h].

    Args:
        others_h: their longest visits there, added up.

    Equation: others_h / stations * (least_met + (1 - least_met) * others_h / (others_h + stations * much_h))
    Source: parts that come together are worked off by all stations (common practice); how many meet is calibrated against simulated shops.
    """
    met = least_met + (1 - least_met) * others_h / (others_h + stations * much_h)
    return others_h / stations * met


def others_h(steps: Mapping[str, Sequence[Step]]) -> dict[str, dict[str, float]]:
    """For each part and work centre, the hours for which the other parts of the order stand before the last of them there."""
    longest: dict[str, dict[str, float]] = {}
    stations: dict[str, int] = {}
    for part, own in steps.items():
        for step in own:
            visits = longest.setdefault(step.work_centre.name, {})
            visits[part] = max(visits.get(part, 0.0), step.borne_h)
            stations[step.work_centre.name] = step.work_centre.stations
    behind: dict[str, dict[str, float]] = {part: {} for part in steps}
    for name, visits in longest.items():
        whole = sum(visits.values())
        for part, hours in visits.items():
            behind[part][name] = behind_others_h(
                others_h=max(whole - hours, 0.0), stations=stations[name], least_met=LEAST_MET, much_h=MUCH_H
            )
    return behind


class _Fed(NamedTuple):
    """An operation that goes on while the one before still feeds it: when its first batch is begun, what each takes, when the last is done [h].

    `passed` are the batches, one of each operation up to this, that the last pieces go through.
    """

    step: Step
    begins: Numbers
    batch: Numbers
    finish: Numbers
    passed: Numbers


MUCH_FASTER = 5.0
"""An operation so many times as fast as a later one holds no piece up in any draw that counts: minutes are off by less."""


def _first_there(fed: Sequence[_Fed], pieces: int) -> Numbers:
    """When so many pieces are through all of those operations: no sooner than the slowest of them has let them through."""
    there, slowest = None, 0.0
    passed = fed[-1].passed
    for one in reversed(fed):
        step = one.step
        batches = math.ceil(pieces / step.batch_size)
        last = batches >= step.batches
        pace = step.batch_h / step.batch_size
        if last or there is None or pace * MUCH_FASTER >= slowest:
            through_h = one.finish if last else one.begins + batches * one.batch
            there = through_h if there is None else np.maximum(there, through_h + (passed - one.passed))
        if last:
            break
        pieces, slowest = batches * step.batch_size, max(slowest, pace)
    assert there is not None
    return there


def through(
    steps: Sequence[Step], arrival: Numbers, *, waits: Waits, factors: Mapping[str, Numbers], behind: Mapping[str, float],
    waited_share: float = 1.0,
) -> Passage:  # fmt: skip
    """A part on its way through its route, in every draw; an order that goes first waits a share of each wait.

    Args:
        arrival: when it comes to its first operation [h], shape (1 000,).
        factors: how far the minutes of each work centre are off, mean 1.
        behind: hours for which other parts of the order stand before it, at each work centre, if it comes last.

    Notes:
        ready_k = C_(k-1)(b_k), when the first b_k pieces are through, C_j(q) = max(start_j + set-up_j + ceil(q / b_j) t_j,
        C_(j-1)(ceil(q / b_j) b_j) + t_j), or finish_(k-1) when operation k takes all in one batch; start_k = ready_k + wait_k + turn_k behind; finish_k = max(start_k + set-up_k + N_k t_k, finish_(k-1) + t_k).
        Each operation runs on one station, as it is set up once.

    Source: overlapping operations, common practice.
    """
    readies: list[Numbers] = []
    finishes: list[Numbers] = []
    fed: list[_Fed] = []
    waited = np.zeros(DATED)
    ready = start = finish = arrival
    before: Step | None = None
    for step in steps:
        first = math.ceil(step.batch_size / before.batch_size) if before else 0
        overlaps = before is not None and step.batches > 1 and first < before.batches
        factor = factors[step.work_centre.name]
        if not overlaps:
            fed.clear()
        if before is not None:
            ready = _first_there(fed, step.batch_size) if overlaps else finish
        start = ready
        centre = waits.at(step.work_centre.name)
        if centre is not None:
            wait = centre.of(ready, places_of(step.work_centre.name, step.visit))
            if waited_share != 1:
                wait = wait * waited_share
            waited += wait
            start = ready + wait
        if step.rests_h:
            start = start + step.rests_h
        stand_h = behind.get(step.work_centre.name, 0.0) * waited_share
        if stand_h > LEAST_H:
            start = start + stand_h * turns_of(step.visit)
        done = start + step.work_h * factor
        finish = np.maximum(done, finish + step.batch_h * factor) if overlaps else done
        batch = step.batch_h * factor
        begins = start + step.setup_h * factor if step.setup_h else start
        fed.append(_Fed(step, begins, batch, finish, fed[-1].passed + batch if fed else batch))
        readies.append(ready)
        finishes.append(finish)
        before = step
    return Passage(arrival, tuple(readies), tuple(finishes), waited, tuple(fed))
