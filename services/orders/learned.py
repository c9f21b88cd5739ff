"""What the rates of today should learn from orders that were reported: rows of work centres with evidence, for an engineer to judge."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from typing import NamedTuple

from services.chassis.rate_source import RevisionNotFound, RevisionOutgrown
from services.chassis.resources import Resources
from services.orders.domain.learning import JobRatio, Learned, learn
from services.orders.learned_rows import Factor, PlannedMinutes, Remaining, remaining_of, rows_of
from services.orders.store.actuals import ActualStore, Reported
from services.orders.store.repository import BookStore
from shared_schemas.actuals import Actual
from shared_schemas.learned import FactorChange, LearnedRates, PartOfTime
from shared_schemas.load import OrderOperation
from shared_schemas.operation_kinds import OPERATIONS
from shared_schemas.rates import Rates

MOST_ORDERS = 500
"""The newest orders that are learned from."""
METHOD = (
    "Logarithms of actual over planned minutes of each job, by operation, work centre, class of glass and class of tolerance. Jobs before the last "
    "likely change of the mean (Smith, Biometrika 62, 407) count by the chance that there was none. Huber mean of each class; classes drawn towards "
    "their factor and factors towards the present rates by a nested normal model (Gelman et al., Bayesian Data Analysis, section 5.4), over all "
    "spreads and scatters that are likely."
)
LINKS = {"draft": "/v1/rates/drafts", "impact": "/v1/rates/impact"}


class Ratio(NamedTuple):
    """Planned and actual minutes of an operation that is done, by factor and by classes of glass and tolerance."""

    factor: Factor
    cell: tuple[str, str]
    planned: float
    took: float
    day: date


def learned_rates(resources: Resources) -> LearnedRates:
    """What the newest orders say of the latest rates. Orders of other rates than these count only where the tables of their minutes are the same."""
    latest = resources.rates.latest()
    reported = ActualStore(resources.database).reported(most=MOST_ORDERS)
    comparable = _comparable_revisions(reported, latest.number, latest.rates, resources)
    used = [one for one in reported if one.stored.order.rate_revision in comparable]
    histories, planned_min = histories_of(used)
    learned = learn(histories)
    jobs = {factor: [(one.day, one.job) for one in of_factor] for factor, of_factor in histories.items()}
    return LearnedRates(
        rate_revision=latest.number,
        orders=len(used),
        orders_of_other_rates=len(reported) - len(used),
        method=METHOD,
        rows=tuple(rows_of(latest.rates, learned, planned_min, jobs, _remaining(resources))),
        changes=tuple(_changes(learned)),
        links=LINKS,
    )


def _comparable_revisions(reported: Sequence[Reported], latest: int, rates: Rates, resources: Resources) -> set[int]:
    """Revisions that plan minutes as the latest does, so that what their jobs say is not learned twice."""
    same = set()
    for number in {one.stored.order.rate_revision for one in reported}:
        if number is None:
            continue
        try:
            other = rates if number == latest else resources.rates.revision(number).rates
        except (RevisionOutgrown, RevisionNotFound):
            continue
        if all(getattr(other, table) == getattr(rates, table) for table in {kind.minutes_from for kind in OPERATIONS.values()}):
            same.add(number)
    return same


def histories_of(orders: Iterable[Reported]) -> tuple[dict[Factor, list[JobRatio]], PlannedMinutes]:
    """The jobs of each factor, what an order did several times in one cell together; and the minutes that all were planned to take."""
    histories: dict[Factor, list[JobRatio]] = defaultdict(list)
    planned_min: PlannedMinutes = defaultdict(float)
    for order in orders:
        together: dict[tuple[Factor, tuple[str, str]], list[Ratio]] = defaultdict(list)
        for operation in order.stored.order.operations:
            for ratio in ratios_of(operation, order.actuals.get(operation.name)):
                together[ratio.factor, ratio.cell].append(ratio)
        for (factor, cell), ratios in together.items():
            planned, took = sum(one.planned for one in ratios), sum(one.took for one in ratios)
            day = max(one.day for one in ratios)
            histories[factor].append(JobRatio(day, order.stored.number, cell, math.log(took / planned), planned))
            planned_min[factor] += planned
    return histories, planned_min


def ratios_of(operation: OrderOperation, actual: Actual | None) -> Iterator[Ratio]:
    """Planned and actual minutes of an operation that is done; the planned run is for as many pieces as were started.

    Minutes that are 0 on either side have no ratio: nothing was reported of them, or nothing planned.
    """
    if actual is None or actual.finished_at is None:
        return
    pieces = actual.started / operation.pieces if actual.started and operation.pieces else 1.0
    times: tuple[tuple[PartOfTime, float | None, float | None], ...] = (
        ("setup", operation.setup_min, actual.setup_min),
        ("run", None if operation.run_min is None else operation.run_min * pieces, actual.run_min),
    )
    for time, planned, took in times:
        if planned and took:
            factor = Factor(operation.work_centre, operation.operation, operation.method, time)
            cell = (operation.glass_class, operation.tolerance_class)
            yield Ratio(factor, cell, planned, took, actual.finished_at.date())


def _remaining(resources: Resources) -> list[Remaining]:
    """What the newest orders that are under way have still to be worked."""
    booked = [one for one in BookStore(resources.database).orders(before=None, most=MOST_ORDERS) if one.state == "booked"]
    actuals = ActualStore(resources.database).standing([one.number for one in booked])
    return [each for one in booked for each in remaining_of(one.order, actuals.get(one.number, {}))]


def _changes(learned: Mapping[Factor, Learned]) -> Iterator[FactorChange]:
    """Factors that are others since a day, the newest first."""
    changed = [(factor, one.changed, one) for factor, one in learned.items() if one.changed is not None]
    for factor, change, one in sorted(changed, key=lambda each: (-each[1].since.toordinal(), each[0])):
        yield FactorChange(
            work_centre=factor.work_centre,
            operation=factor.operation,
            method=factor.method,
            time=factor.time,
            since=change.since,
            chance=round(one.change_chance, 4),
            jobs_since=one.jobs,
            ratio_before=round(change.ratio_before, 4),
            ratio=round(one.ratio, 4),
        )
