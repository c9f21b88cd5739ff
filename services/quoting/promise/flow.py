"""How batches of one part move from operation to operation: the next one begins when its first batch is there."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from services.optics.law import law
from services.quoting.costs.cost import OperationCost
from shared_schemas.rates import Rates, ShopLoadRow, WorkCentreRow


@dataclass(frozen=True)
class Span:
    """A stretch of working time: its mean [h] and variance [h2]."""

    hours: float = 0.0
    variance: float = 0.0

    def __add__(self, other: Span) -> Span:
        """One after the other, independent of each other."""
        return Span(self.hours + other.hours, self.variance + other.variance)


class Step(NamedTuple):
    """One operation of a part: where, its wait in the queue there, its set-up and batches [h]. `load` is None without a queue.

    `batch_h` is the mean over the batches, the minutes of single pieces and what is learned counted in; `borne_h` is all the
    time that it takes of its work centre, where other parts share batches only its part of these.
    """

    work_centre: WorkCentreRow
    load: ShopLoadRow | None
    wait_h: float
    setup_h: float
    batch_h: float
    batches: int
    batch_size: int
    borne_h: float

    @property
    def work_h(self) -> float:
        """Set-up and all batches on one station."""
        return self.setup_h + self.batches * self.batch_h


class Passage(NamedTuple):
    """One operation in time, counted from the part's arrival at its route [h]: first batch there, last batch done."""

    ready_h: float
    finish_h: float
    variance: float


@dataclass(frozen=True)
class Queue:
    """What waits before a work centre: its load, `None` without a row, and the mean wait [h]."""

    load: ShopLoadRow | None
    wait_h: float


@law
def kingman_wait_h(*, utilisation: float, squared_variation: float, mean_job_h: float, stations: int = 1) -> float:
    """Mean time a job waits before a work centre [h].

    Args:
        utilisation: share of the hours of all its stations already taken, 0 to below 1.
        squared_variation: (c_a^2 + c_s^2) / 2, the mean of the squared coefficients of variation of arrivals and work.
        mean_job_h: mean work of a job there [h].
        stations: machines or benches that take from one queue.

    Equation: utilisation**(sqrt(2 * (stations + 1)) - 1) / (stations * (1 - utilisation)) * squared_variation * mean_job_h
    Source: J. F. C. Kingman (1961) for one station, H. Sakasegawa (1977) for several; both from memory.
    """
    crowd = math.pow(utilisation, math.sqrt(2 * (stations + 1)) - 1) / (stations * (1 - utilisation))
    return crowd * squared_variation * mean_job_h


@law
def jobs_waiting(*, wait_h: float, jobs_per_h: float) -> float:
    """Mean number of jobs that wait.

    Equation: jobs_per_h * wait_h
    Source: J. D. C. Little (1961), from memory.
    """
    return jobs_per_h * wait_h


@law
def jobs_per_h(*, utilisation: float, stations: int, mean_job_h: float) -> float:
    """Jobs that come to a work centre in an hour [1/h].

    Equation: utilisation * stations / mean_job_h
    """
    return utilisation * stations / mean_job_h


def queues_of(rates: Rates) -> dict[str, Queue]:
    """The queue of every work centre, by name."""
    load = {row.name: row for row in rates.shop_load}
    return {centre.name: _queue(centre, load.get(centre.name)) for centre in rates.work_centres}


def _queue(centre: WorkCentreRow, load: ShopLoadRow | None) -> Queue:
    if load is None:
        return Queue(None, 0.0)
    wait_h = kingman_wait_h(
        utilisation=load.utilisation,
        squared_variation=load.squared_variation,
        mean_job_h=load.mean_job_h,
        stations=centre.stations,
    )
    return Queue(load, wait_h)


def steps_of(costs: Sequence[OperationCost], queues: Mapping[str, Queue]) -> tuple[Step, ...]:
    """The steps of a route, each with the wait that the load of its work centre makes."""
    return tuple([_step(cost, queues[cost.work_centre.name]) for cost in costs])


def _step(cost: OperationCost, queue: Queue) -> Step:
    operation = cost.operation
    if operation.shared_run is None:
        batch_min = (cost.machine_min - operation.setup_min) / cost.batches if cost.batches else 0.0
    else:
        batch_min = operation.batch_min + operation.piece_min * cost.pieces / max(cost.batches, 1)
    return Step(
        cost.work_centre,
        queue.load,
        queue.wait_h,
        operation.setup_min / 60,
        batch_min / 60,
        cost.batches,
        operation.batch_size,
        cost.machine_min / 60,
    )


def passages(steps: Sequence[Step], *, waited_share: float = 1.0) -> list[Passage]:
    """Each operation in time, when batches move on as they are done; an order that goes first waits a share of each wait.

    Notes:
        ready_k = start_(k-1) + set-up_(k-1) + ceil(b_k / b_(k-1)) t_(k-1), or finish_(k-1) when operation k takes all in
        one batch; start_k = ready_k + wait_k; finish_k = max(start_k + set-up_k + N_k t_k, finish_(k-1) + t_k).
        Each operation runs on one station, as it is set up once. Its variance is the sum of the squared waits so far.

    Source: overlapping operations, common practice.
    """
    passed: list[Passage] = []
    ready = start = finish = variance = 0.0
    for position, step in enumerate(steps):
        if position:
            before = steps[position - 1]
            first = math.ceil(step.batch_size / before.batch_size)
            ready = finish if step.batches <= 1 or first >= before.batches else start + before.setup_h + first * before.batch_h
        wait_h = waited_share * step.wait_h
        batch_h = step.batch_h
        start = ready + wait_h
        one_after_the_other, behind_the_last = start + step.setup_h + step.batches * batch_h, finish + batch_h
        finish = one_after_the_other if one_after_the_other > behind_the_last else behind_the_last
        variance += wait_h * wait_h
        passed.append(Passage(ready, finish, variance))
    return passed


def span_of(passed: Sequence[Passage]) -> Span:
    """A whole route, from the part's arrival until its last piece is done."""
    return Span(passed[-1].finish_h, passed[-1].variance)
