"""How far an order is by what was reported: what is done, what is late, what it cost so far, and when it will be ready."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from decimal import ROUND_HALF_EVEN, Decimal

from shared_schemas.actuals import Actual, OperationProgress, OrderProgress
from shared_schemas.load import AcceptedOrder, OrderOperation

RULE = (
    "An operation that is not done begins on the day it was planned for, on the day the one before it on its part is done, or today, "
    "whichever is last, and takes as many calendar days as planned; one that was begun is not done before today. "
    "The part that is furthest behind moves the ship date by as many days; what is early does not bring it forward."
)


def progress_of(order: AcceptedOrder, actuals: Mapping[str, Actual], *, today: date) -> OrderProgress:
    """Every operation of an order against its plan. `actuals` are the entries that stand, by operation."""
    lines: list[OperationProgress] = []
    ready: dict[str, date] = {}
    for operation in order.operations:
        line = _line(operation, actuals.get(operation.name), ready.get(operation.part), order.currency, today)
        ready[operation.part] = line.expected_end
        lines.append(line)
    known = [one for one in lines if one.cost_so_far is not None]
    return OrderProgress(
        operations=tuple(lines),
        done=sum(one.state == "done" for one in lines),
        late=sum(one.late for one in lines),
        currency=order.currency,
        quoted_cost=_sum(one.quoted_cost for one in lines),
        quoted_cost_so_far=_sum(one.quoted_cost for one in known),
        cost_so_far=_sum(one.cost_so_far for one in known),
        forecast_ship_date=order.ship_date + timedelta(days=_days_behind(lines)),
        rule=RULE,
    )


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


def _line(operation: OrderOperation, actual: Actual | None, ready: date | None, currency: str, today: date) -> OperationProgress:
    expected = _expected_end(operation, actual, ready, today)
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


def _expected_end(operation: OrderOperation, actual: Actual | None, ready: date | None, today: date) -> date:
    """The day on which an operation was done or will be."""
    if actual is not None and actual.finished_at is not None:
        return actual.finished_at.date()
    if actual is not None:
        return max(operation.ends, today)
    begins = max(operation.begins, today, ready or operation.begins)
    return begins + (operation.ends - operation.begins)


def _days_behind(lines: Iterable[OperationProgress]) -> int:
    """Days by which the last operation of the part that is furthest behind is late; 0 where none is."""
    last = {one.part: one for one in lines}
    return max((max((one.expected_end - one.ends).days, 0) for one in last.values()), default=0)


def _sum(amounts: Iterable[Decimal | None]) -> Decimal:
    return sum((one for one in amounts if one is not None), Decimal(0))
