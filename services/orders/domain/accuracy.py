"""How true quotes came: what was quoted of each finished job beside what it took, and figures of many jobs together."""

from __future__ import annotations

import math
from array import array
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from services.optics.law import law
from services.orders.domain.progress import cost_of
from services.shop.proportions import counted_share
from shared_schemas.accuracy import (
    FEWEST_JOBS,
    MEASURES,
    MOST_GROUPS,
    AccuracyGroup,
    GroupedBy,
    Measure,
    MeasuredAccuracy,
    ShareInside,
)
from shared_schemas.actuals import Actual
from shared_schemas.base import Contract
from shared_schemas.load import AcceptedOrder, OrderOperation

Floats = NDArray[np.float64]
Figure = TypeVar("Figure", float, Floats)

METHOD = (
    "A job is finished when every operation was reported done, or the order was told completed. Hours and cost are those of operations of which they "
    "were reported, against the quote of the same ones; cost counts glass and bought parts of which the price paid is known. Yield is good "
    "over started pieces, against the quoted yields at as many started. Days run from the acceptance until a job is finished, against the quoted "
    "median, and until the operations of a group are done, against their planned end. Inside p80 are jobs whose whole cost (what was "
    "not paid otherwise as quoted) and days are no more than eight in ten draws of the quote. What came to nothing has no ratio and is left out: a job "
    "that lost every piece is none of those whose yield is told."
)


class Pair(NamedTuple):
    """What was quoted and what it came to, and whether that is within what eight in ten draws of the quote keep, where that is known."""

    quoted: float
    actual: float
    inside_p80: bool | None = None


Pairs = dict[Measure, Pair]


class Line(NamedTuple):
    """An operation of which something was reported, and what it cost, where that is known."""

    operation: OrderOperation
    actual: Actual
    cost: Decimal | None


class JobFigures(Contract):
    """A finished job in figures: as a whole, by operation and by work centre; a measure that is not known is left out."""

    finished_on: date
    customer: str
    job: Pairs
    operations: dict[str, Pairs]
    work_centres: dict[str, Pairs]


@law
def relative_error(*, quoted: Figure, actual: Figure) -> Figure:
    """How far a quoted figure lies off the actual one, as a share of that.

    Equation: abs(quoted - actual) / actual
    Source: common practice, as the absolute percentage error of forecasts
    """
    return abs(quoted - actual) / actual


@law
def mean_error_percent(*, relative_errors: Sequence[float]) -> float:
    """Mean of relative errors, in per cent; the same in whichever order they come.

    Equation: 100 * sum(relative_errors) / len(relative_errors)
    Source: common practice, as the mean absolute percentage error of forecasts
    """
    return 100 * math.fsum(relative_errors) / len(relative_errors)


def figures_of(order: AcceptedOrder, actuals: Mapping[str, Actual], *, completed_on: date | None) -> JobFigures | None:
    """A finished job in figures, None for one that is not finished. `completed_on` is the day on which the order was told completed."""
    lines = [(one, actuals.get(one.name)) for one in order.operations]
    ends = [said.finished_at.date() for _, said in lines if said is not None and said.finished_at is not None]
    if completed_on is None and (not lines or len(ends) < len(lines)):
        return None
    finished_on = max(ends) if ends and len(ends) == len(lines) else completed_on
    assert finished_on is not None
    reported = [Line(one, said, cost_of(one, said)) for one, said in lines if said is not None]
    by_operation: dict[str, list[Line]] = defaultdict(list)
    by_centre: dict[str, list[Line]] = defaultdict(list)
    for line in reported:
        by_operation[line.operation.operation].append(line)
        by_centre[line.operation.work_centre].append(line)
    return JobFigures(
        finished_on=finished_on,
        customer=order.customer,
        job=_job_pairs(order, reported, actuals, finished_on),
        operations={name: _pairs(order, some) for name, some in by_operation.items()},
        work_centres={name: _pairs(order, some) for name, some in by_centre.items()},
    )


def _job_pairs(order: AcceptedOrder, reported: Sequence[Line], actuals: Mapping[str, Actual], finished_on: date) -> Pairs:
    """A job as a whole: as its operations, with what was bought for it, until the day on which it was finished."""
    sums = _sums(reported)
    costs = [(one.operation.cost, one.cost) for one in reported]
    costs += [(one.cost, said.price_paid) for one in order.materials if (said := actuals.get(one.id)) is not None]
    whole = _whole_cost(order, reported, actuals)
    within = None if order.quoted is None else order.quoted.unit_cost_p80
    sums["cost"] = _cost(costs, None if whole is None or within is None else whole <= within * order.quantity)
    if order.quoted is not None:
        days = (finished_on - order.accepted_at.date()).days
        kept = None if order.quoted.p80_days is None else days <= order.quoted.p80_days
        sums["days"] = Pair(float(order.quoted.p50_days), float(days), kept)
    return _known(sums)


def _pairs(order: AcceptedOrder, reported: Sequence[Line]) -> Pairs:
    """Some operations of a job together."""
    sums = _sums(reported)
    done = [(one.operation.ends, one.actual.finished_at.date()) for one in reported if one.actual.finished_at is not None]
    if done:
        begin = order.accepted_at.date()
        planned, ended = max(end for end, _ in done), max(end for _, end in done)
        sums["days"] = Pair(float((planned - begin).days), float((ended - begin).days))
    return _known(sums)


def _sums(reported: Sequence[Line]) -> Pairs:
    timed = [one for one in reported if one.actual.setup_min is not None or one.actual.run_min is not None]
    sums: Pairs = {
        "hours": Pair(math.fsum(one.operation.hours for one in timed), math.fsum(one.actual.minutes for one in timed) / 60),
        "cost": _cost([(one.operation.cost, one.cost) for one in reported], None),
    }
    counted = [(one.operation.yield_share, one.actual.started, one.actual.good) for one in reported]
    known = [(share, started, good) for share, started, good in counted if share is not None and started and good is not None]
    if known:
        pieces = sum(started for _, started, _ in known)
        expected = math.fsum(share * started for share, started, _ in known)
        sums["yield"] = Pair(expected / pieces, sum(good for *_, good in known) / pieces)
    return sums


def _cost(costs: Iterable[tuple[Decimal | None, Decimal | None]], inside: bool | None) -> Pair:
    """Quoted and actual costs added up, of what both are known of."""
    known = [(quoted, came_to) for quoted, came_to in costs if quoted is not None and came_to is not None]
    return Pair(float(sum(quoted for quoted, _ in known)), float(sum(came_to for _, came_to in known)), inside)


def _whole_cost(order: AcceptedOrder, reported: Sequence[Line], actuals: Mapping[str, Actual]) -> Decimal | None:
    """What a job cost in all: glass and bought parts as they were paid, or else as quoted. None where an operation does not tell its cost."""
    known = [one.cost for one in reported if one.cost is not None]
    if len(known) < len(order.operations):
        return None
    paid = (said.price_paid if (said := actuals.get(one.id)) is not None else None for one in order.materials)
    bought = [one.cost if price is None else price for one, price in zip(order.materials, paid, strict=True)]
    return sum(known, Decimal(0)) + sum(bought, Decimal(0))


def _known(pairs: Pairs) -> Pairs:
    """Pairs of which a ratio can be told."""
    return {
        measure: Pair(round(one.quoted, 6), round(one.actual, 6), one.inside_p80)
        for measure, one in pairs.items()
        if one.quoted > 0 and one.actual > 0
    }


class _Column:
    """The pairs of one measure of one group, as plain numbers: a report has millions."""

    def __init__(self, pairs: Iterable[Pair] = ()) -> None:
        self.quoted, self.actual = array("d"), array("d")
        self.inside = self.told = 0
        for pair in pairs:
            self.add(pair)

    def add(self, pair: Pair) -> None:
        quoted, actual, inside = pair
        self.quoted.append(quoted)
        self.actual.append(actual)
        if inside is not None:
            self.told += 1
            self.inside += inside


class _Collected:
    """The jobs of one group."""

    def __init__(self) -> None:
        self.jobs = 0
        self.columns: dict[Measure, _Column] = {measure: _Column() for measure in MEASURES}

    def add(self, pairs: Pairs) -> None:
        self.jobs += 1
        for measure, pair in pairs.items():
            self.columns[measure].add(pair)

    def group(self, name: str) -> AccuracyGroup:
        return AccuracyGroup(
            name=name, jobs=self.jobs, measures=tuple(_measured(measure, column) for measure, column in self.columns.items())
        )


def measured(measure: Measure, pairs: Iterable[Pair]) -> MeasuredAccuracy:
    """One measure of some jobs, in whichever order they come."""
    return _measured(measure, _Column(pairs))


def _measured(measure: Measure, column: _Column) -> MeasuredAccuracy:
    jobs = len(column.quoted)
    if jobs < FEWEST_JOBS:
        few = "no job tells it" if not jobs else f"only {jobs} {'job tells' if jobs == 1 else 'jobs tell'} it"
        return MeasuredAccuracy(measure=measure, jobs=jobs, remark=f"{few}; figures are given from {FEWEST_JOBS} on")
    quoted, actual = np.array(column.quoted), np.array(column.actual)
    p25, median, p75 = (float(one) for one in np.percentile(actual / quoted, (25, 50, 75)))
    return MeasuredAccuracy(
        measure=measure,
        jobs=jobs,
        mape_percent=round(mean_error_percent(relative_errors=relative_error(quoted=quoted, actual=actual).tolist()), 2),
        median_ratio=round(median, 4),
        ratio_p25=round(p25, 4),
        ratio_p75=round(p75, 4),
        inside_p80=_inside(column.inside, column.told),
    )


def _inside(inside: int, told: int) -> ShareInside | None:
    if told < FEWEST_JOBS:
        return None
    share = counted_share(inside, told)
    return ShareInside(jobs=told, share=share.share, low=share.low, high=share.high)


def groups_of(jobs: Iterable[JobFigures]) -> tuple[AccuracyGroup, dict[GroupedBy, tuple[AccuracyGroup, ...]]]:
    """All jobs together, and by what they have in common: months in their order, the others by how many jobs they have."""
    whole = _Collected()
    by: dict[GroupedBy, dict[str, _Collected]] = {
        "month": defaultdict(_Collected), "customer": defaultdict(_Collected), "operation": defaultdict(_Collected), "work_centre": defaultdict(_Collected)
    }  # fmt: skip
    for job in jobs:
        whole.add(job.job)
        for kind, name, pairs in _belongs_to(job):
            by[kind][name].add(pairs)
    return whole.group("all"), {kind: tuple(_sorted(kind, groups)) for kind, groups in by.items()}


def _belongs_to(job: JobFigures) -> Iterator[tuple[GroupedBy, str, Pairs]]:
    yield "month", f"{job.finished_on:%Y-%m}", job.job
    yield "customer", job.customer, job.job
    for name, pairs in job.operations.items():
        yield "operation", name, pairs
    for name, pairs in job.work_centres.items():
        yield "work_centre", name, pairs


def _sorted(kind: GroupedBy, groups: Mapping[str, _Collected]) -> Iterator[AccuracyGroup]:
    def place(name: str) -> tuple[Any, str]:
        return ("" if kind == "month" else -groups[name].jobs, name)

    for name in sorted(groups, key=place):
        yield groups[name].group(name)


def shown(kind: GroupedBy, groups: Sequence[AccuracyGroup]) -> tuple[AccuracyGroup, ...]:
    """As many groups as a report has: the newest months, of the others those of most jobs."""
    return tuple(groups[-MOST_GROUPS:] if kind == "month" else groups[:MOST_GROUPS])
