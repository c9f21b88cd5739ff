"""What the rates of today should learn from orders that were reported: rows of work centres with evidence, for an engineer to judge."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from services.chassis.rate_source import RevisionNotFound, RevisionOutgrown
from services.chassis.resources import Resources
from services.orders.domain.learning import Learned, learn
from services.orders.store.actuals import ActualStore, Reported
from shared_schemas.actuals import Actual
from shared_schemas.learned import FactorEvidence, LearnedRates, LearnedRow, PartOfTime
from shared_schemas.load import OrderOperation
from shared_schemas.operation_kinds import OPERATIONS, OperationName
from shared_schemas.rates import Rates, WorkCentreRow

MOST_ORDERS = 500
"""The newest orders that are learned from."""
METHOD = (
    "Logarithms of actual over planned minutes of each job; jobs before the last change (self-starting CUSUM) left out; Huber mean; all factors "
    "drawn towards the present rates by a hierarchical normal model (Gelman et al., Bayesian Data Analysis, section 5.4)."
)


class Factor(NamedTuple):
    """What has one ratio: the set-up or the run of an operation at a work centre."""

    work_centre: str
    operation: OperationName
    method: str
    time: PartOfTime


def learned_rates(resources: Resources) -> LearnedRates:
    """What the newest orders say of the latest rates. Orders of other rates than these count only where the tables of their minutes are the same."""
    latest = resources.rates.latest()
    reported = ActualStore(resources.database).reported(most=MOST_ORDERS)
    comparable = _comparable_revisions(reported, latest.number, latest.rates, resources)
    used = [one for one in reversed(reported) if one.stored.order.rate_revision in comparable]
    histories: dict[Factor, list[float]] = defaultdict(list)
    planned_min: dict[Factor, float] = defaultdict(float)
    for order in used:
        for operation in order.stored.order.operations:
            for factor, planned, actual in ratios_of(operation, order.actuals.get(operation.name)):
                histories[factor].append(math.log(actual / planned))
                planned_min[factor] += planned
    learned = learn(histories)
    return LearnedRates(
        rate_revision=latest.number,
        orders=len(used),
        orders_of_other_rates=len(reported) - len(used),
        method=METHOD,
        rows=tuple(rows_of(latest.rates.work_centres, learned, planned_min)),
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


def ratios_of(operation: OrderOperation, actual: Actual | None) -> Iterator[tuple[Factor, float, float]]:
    """Planned and actual minutes of an operation that is done, by factor; the planned run is for as many pieces as were started."""
    if actual is None or actual.finished_at is None:
        return
    pieces = actual.started / operation.pieces if actual.started and operation.pieces else 1.0
    times: tuple[tuple[PartOfTime, float | None, float | None], ...] = (
        ("setup", operation.setup_min, actual.setup_min),
        ("run", None if operation.run_min is None else operation.run_min * pieces, actual.run_min),
    )
    for time, planned, took in times:
        if planned and took:
            yield Factor(operation.work_centre, operation.operation, operation.method, time), planned, took


def rows_of(
    centres: Sequence[WorkCentreRow], learned: Mapping[Factor, Learned], planned_min: Mapping[Factor, float]
) -> Iterator[LearnedRow]:
    """The rows of which some evidence is sure, each with all its evidence."""
    for row in centres:
        of_row = {factor: one for factor, one in learned.items() if factor.work_centre == row.name}
        if not any(one.is_sure for one in of_row.values()):
            continue
        patch = patch_of(row, of_row, planned_min)
        tables = {OPERATIONS[factor.operation].minutes_from for factor, one in of_row.items() if one.is_sure}
        yield LearnedRow(
            row=row.name,
            evidence=tuple(_evidence(factor, one) for factor, one in of_row.items()),
            patch=patch,
            becomes=row.model_copy(update=patch).model_dump(mode="json", by_alias=True),
            rests_on=tuple(sorted(tables - {"work_centres"})),
        )


def patch_of(row: WorkCentreRow, of_row: Mapping[Factor, Learned], planned_min: Mapping[Factor, float]) -> dict[str, float]:
    """The minutes of a row as they would be: its set-up, and its cycle and loading, each by the ratios of its factors weighted by their minutes.

    Cycle and loading stay where an operation of the row takes its minutes from another table too, and set-up likewise: it is not theirs alone.
    """
    if any(OPERATIONS[operation].minutes_from != "work_centres" for operation in row.operations):
        return {}
    patch: dict[str, float] = {}
    for time, fields in (("setup", ("setup_min",)), ("run", ("cycle_min", "load_min_per_piece"))):
        factors = [factor for factor in of_row if factor.time == time]
        if any(of_row[factor].is_sure for factor in factors):
            whole = sum(planned_min[factor] for factor in factors)
            ratio = sum(planned_min[factor] * of_row[factor].ratio for factor in factors) / whole
            patch |= {field: round(getattr(row, field) * ratio, 4) for field in fields if getattr(row, field)}
    return patch


def _evidence(factor: Factor, one: Learned) -> FactorEvidence:
    return FactorEvidence(
        operation=factor.operation,
        method=factor.method,
        time=factor.time,
        jobs=one.jobs,
        all_jobs=one.all_jobs,
        changed=one.changed,
        ratio=round(one.ratio, 4),
        low=round(one.low, 4),
        high=round(one.high, 4),
        is_sure=one.is_sure,
        error_before=round(one.error_before, 4),
        error_after=round(one.error_after, 4),
    )
