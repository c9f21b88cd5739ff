"""How far an order is by what was reported: what is done, what is late, what it cost so far, and when it will be ready."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from decimal import ROUND_HALF_EVEN, Decimal

from shared_schemas.actuals import Actual, MaterialProgress, OperationProgress, OrderProgress
from shared_schemas.load import AcceptedOrder, OrderMaterial, OrderOperation

RULE = (
    "An operation that is not done ends on the day it was planned for, later by as many days as what it waits for, the operation before it or "
    "the last ones of the parts that are put into it, is later than both its own plan and the day on which this one was to begin; and not before "
    "today. The last operation of the part that is furthest behind, of the lens where it is known what is put into what, moves the ship date by as "
    "many days; what is early does not bring it forward."
)


def progress_of(order: AcceptedOrder, actuals: Mapping[str, Actual], *, today: date) -> OrderProgress:
    """Every operation of an order against its plan. `actuals` are the entries that stand, by operation."""
    lines: list[OperationProgress] = []
    last: dict[str, OperationProgress] = {}
    for operation in order.operations:
        before = (
            [last[operation.part]]
            if operation.part in last
            else [last[one] for one in order.consumes.get(operation.part, ()) if one in last]
        )
        line = _line(operation, actuals.get(operation.name), _pushed_days(operation, before), today)
        last[operation.part] = line
        lines.append(line)
    materials = [_material(one, actuals.get(one.id)) for one in order.materials]
    costs = [(one.quoted_cost, one.cost_so_far) for one in lines] + [(one.quoted_cost, one.price_paid) for one in materials]
    consumed = {part for parts in order.consumes.values() for part in parts}
    days_late = max((max((one.expected_end - one.ends).days, 0) for part, one in last.items() if part not in consumed), default=0)
    return OrderProgress(
        operations=tuple(lines),
        materials=tuple(materials),
        operations_in_all=len(lines),
        done=sum(one.state == "done" for one in lines),
        late=sum(one.late for one in lines),
        days_late=days_late,
        currency=order.currency,
        quoted_cost=_sum(quoted for quoted, _ in costs),
        quoted_cost_so_far=_sum(quoted for quoted, so_far in costs if so_far is not None),
        cost_so_far=_sum(so_far for _, so_far in costs),
        forecast_ship_date=order.ship_date + timedelta(days=days_late),
        rule=RULE,
    )


def progress_in_short(order: AcceptedOrder, actuals: Mapping[str, Actual], *, today: date) -> OrderProgress:
    """The same without its lists, for a page of many orders."""
    return progress_of(order, actuals, today=today).model_copy(update={"operations": (), "materials": ()})


def cost_of(operation: OrderOperation, actual: Actual) -> Decimal | None:
    """What an operation cost so far, to the minor unit of its quoted cost: the price paid, or the quoted cost in proportion to the minutes.

    None where neither is known.
    """
    if actual.price_paid is not None:
        return actual.price_paid
    planned_min = operation.hours * 60
    if operation.cost is None or not planned_min or (actual.setup_min is None and actual.run_min is None):
        return None
    amount = operation.cost * Decimal(repr(actual.minutes)) / Decimal(repr(planned_min))
    return amount.quantize(operation.cost, rounding=ROUND_HALF_EVEN)


def _pushed_days(operation: OrderOperation, before: Iterable[OperationProgress]) -> int:
    """Days by which an operation is pushed by those that it waits for. Batches move on as they are done, so it may begin before these end."""
    return max((max((one.expected_end - max(one.ends, operation.begins)).days, 0) for one in before), default=0)


def _line(operation: OrderOperation, actual: Actual | None, pushed_days: int, today: date) -> OperationProgress:
    expected = _expected_end(operation, actual, pushed_days, today)
    said = actual or Actual(operation=operation.name)
    return OperationProgress(
        id=operation.name,
        sequence=operation.sequence,
        part=operation.part,
        operation=operation.operation,
        work_centre=operation.work_centre,
        state="open" if actual is None else "done" if actual.finished_at else "begun",
        late=expected > operation.ends,
        begins=operation.begins,
        ends=operation.ends,
        expected_end=expected,
        quoted_h=round(operation.hours, 6),
        actual_h=round(said.minutes / 60, 6),
        started=said.started,
        good=said.good,
        reason_of_loss=said.reason_of_loss,
        quoted_cost=operation.cost,
        cost_so_far=cost_of(operation, actual) if actual else None,
    )


def _material(material: OrderMaterial, paid: Actual | None) -> MaterialProgress:
    return MaterialProgress(
        id=material.id, item=material.item, quoted_cost=material.cost, price_paid=None if paid is None else paid.price_paid
    )


def _expected_end(operation: OrderOperation, actual: Actual | None, pushed_days: int, today: date) -> date:
    """The day on which an operation was done or will be."""
    if actual is not None and actual.finished_at is not None:
        return actual.finished_at.date()
    return max(operation.ends + timedelta(days=pushed_days), today)


def _sum(amounts: Iterable[Decimal | None]) -> Decimal:
    return sum((one for one in amounts if one is not None), Decimal(0))
