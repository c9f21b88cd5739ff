"""Rows of work centres as jobs say they should be: the patch for a draft, its evidence, and what it does to the orders under way."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any, NamedTuple

from services.orders.domain.learning import Learned
from services.shop.minutes import attended_min, exact_minutes_cost
from shared_schemas.actuals import Actual
from shared_schemas.learned import ClassEvidence, FactorEvidence, LearnedRow, OpenOrdersEffect, PartOfTime
from shared_schemas.load import AcceptedOrder
from shared_schemas.operation_kinds import OPERATIONS, OperationName
from shared_schemas.rate_drafts import RowChange
from shared_schemas.rates import Rates, WorkCentreRow

FIELDS: dict[PartOfTime, tuple[str, ...]] = {"setup": ("setup_min",), "run": ("cycle_min", "load_min_per_piece")}
"""The columns of a work centre that a ratio of its set-up, or of its run, scales."""


class Factor(NamedTuple):
    """What has one ratio: the set-up or the run of an operation at a work centre."""

    work_centre: str
    operation: OperationName
    method: str
    time: PartOfTime


class Remaining(NamedTuple):
    """Minutes of an order that are still to be worked."""

    order: str
    factor: Factor
    cell: tuple[str, str]
    planned_min: float


PlannedMinutes = dict[Factor, float]
Jobs = Mapping[Factor, Sequence[tuple[date, str]]]
"""Day and order of every job of a factor."""


def rows_of(
    rates: Rates, learned: Mapping[Factor, Learned], planned_min: Mapping[Factor, float], jobs: Jobs, remaining: Sequence[Remaining]
) -> Iterator[LearnedRow]:
    """The rows of which some evidence is sure, each with all its evidence."""
    for row in rates.work_centres:
        of_row = {factor: one for factor, one in learned.items() if factor.work_centre == row.name}
        sure = {factor: one for factor, one in of_row.items() if one.is_sure}
        if not sure:
            continue
        patch = patch_of(row, of_row, planned_min)
        change: dict[str, Any] = patch | said_of(sure, jobs) if patch else {}
        tables = {OPERATIONS[factor.operation].minutes_from for factor in sure}
        yield LearnedRow(
            row=row.name,
            evidence=tuple(evidence_of(factor, one) for factor, one in sorted(of_row.items())),
            patch=patch,
            becomes=type(row).model_validate(row.model_dump(by_alias=True) | change).model_dump(mode="json", by_alias=True),
            rests_on=tuple(sorted(tables - {"work_centres"})),
            draft_row=RowChange(table="work_centres", row=row.name, patch=change) if change else None,
            open_orders=effect_on(row, of_row, remaining, rates),
        )


def patch_of(row: WorkCentreRow, of_row: Mapping[Factor, Learned], planned_min: Mapping[Factor, float]) -> dict[str, float]:
    """The minutes of a row as they would be: its set-up, and its cycle and loading, each by the ratios of its factors weighted by their minutes.

    Cycle and loading stay where an operation of the row takes its minutes from another table too, and set-up likewise: it is not theirs alone.
    """
    if any(OPERATIONS[operation].minutes_from != "work_centres" for operation in row.operations):
        return {}
    patch: dict[str, float] = {}
    for time, fields in FIELDS.items():
        factors = [factor for factor in of_row if factor.time == time]
        if any(of_row[factor].is_sure for factor in factors):
            whole = sum(planned_min[factor] for factor in factors)
            ratio = sum(planned_min[factor] * of_row[factor].ratio for factor in factors) / whole
            patch |= {field: round(getattr(row, field) * ratio, 4) for field in fields if getattr(row, field)}
    return patch


def said_of(sure: Mapping[Factor, Learned], jobs: Jobs) -> dict[str, str]:
    """What a row says of itself that was measured here: its origin, the jobs it rests on, and the day of the last."""
    rested_on = sorted({
        job for factor, one in sure.items() for job in jobs[factor] if one.changed is None or job[0] >= one.changed.since
    })  # fmt: skip
    (first_day, _), (last_day, _) = rested_on[0], rested_on[-1]
    orders = sorted({order for _, order in rested_on})
    ratios = "; ".join(
        f"{factor.time} {one.ratio:.3f} times the minutes planned ({one.low:.3f} to {one.high:.3f})"
        for factor, one in sorted(sure.items())[:3]
    )
    return {
        "origin": "measured",
        "source": f"measured here: {len(orders)} jobs from {first_day} to {last_day}; {ratios}",
        "document": f"actuals of {len(orders)} orders, {orders[0]} to {orders[-1]}"[:120],
        "as_of": last_day.isoformat(),
    }


def evidence_of(factor: Factor, one: Learned) -> FactorEvidence:
    """What jobs say of a factor and of each of its classes."""
    return FactorEvidence(
        operation=factor.operation,
        method=factor.method,
        time=factor.time,
        jobs=one.jobs,
        all_jobs=one.all_jobs,
        changed=one.changed is not None,
        change_chance=round(one.change_chance, 4),
        ratio=round(one.ratio, 4),
        low=round(one.low, 4),
        high=round(one.high, 4),
        is_sure=one.is_sure,
        error_before=round(one.error_before, 4),
        error_after=round(one.error_after, 4),
        classes=tuple(
            ClassEvidence(
                glass_class=each.cell[0],
                tolerance_class=each.cell[1],
                jobs=each.jobs,
                ratio=round(each.ratio, 4),
                low=round(each.low, 4),
                high=round(each.high, 4),
            )
            for each in one.cells
        ),
    )


def remaining_of(order: AcceptedOrder, actuals: Mapping[str, Actual]) -> Iterator[Remaining]:
    """The minutes of the operations of an order that are not done."""
    for operation in order.operations:
        actual = actuals.get(operation.name)
        if actual is not None and actual.finished_at is not None:
            continue
        times: tuple[tuple[PartOfTime, float | None], ...] = (("setup", operation.setup_min), ("run", operation.run_min))
        for time, minutes in times:
            if minutes:
                factor = Factor(operation.work_centre, operation.operation, operation.method, time)
                yield Remaining(order.quote_number, factor, (operation.glass_class, operation.tolerance_class), minutes)


def effect_on(
    row: WorkCentreRow, of_row: Mapping[Factor, Learned], remaining: Sequence[Remaining], rates: Rates
) -> OpenOrdersEffect:
    """What orders under way have still to be worked at a row, as planned and as learned, and what the difference costs."""
    here = [one for one in remaining if one.factor.work_centre == row.name]
    more: dict[PartOfTime, float] = {"setup": 0.0, "run": 0.0}
    for one in here:
        more[one.factor.time] += one.planned_min * (_ratio_for(of_row.get(one.factor), one.cell) - 1)
    planned_min = sum(one.planned_min for one in here)
    cost = exact_minutes_cost(
        machine_min=more["setup"] + more["run"],
        attended_min=attended_min(setup_min=more["setup"], run_min=more["run"], attended_share=row.attended_share),
        machine_rate_per_h=row.machine_rate_per_h,
        labour_rate_per_h=row.labour_rate_per_h,
    )
    base = rates.currency(rates.base_currency)
    return OpenOrdersEffect(
        orders=len({one.order for one in here}),
        planned_h=round(planned_min / 60, 3),
        learned_h=round((planned_min + sum(more.values())) / 60, 3),
        cost=cost.quantize(Decimal(1).scaleb(-base.minor_units), rounding=ROUND_HALF_EVEN),
        currency=base.name,
    )


def _ratio_for(one: Learned | None, cell: tuple[str, str]) -> float:
    """What was learned of a cell; of the factor for one that no job was done in; as planned where nothing was learned."""
    if one is None:
        return 1.0
    return next((each.ratio for each in one.cells if each.cell == cell), one.ratio)
