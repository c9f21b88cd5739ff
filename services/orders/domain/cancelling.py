"""What it costs to cancel an order: nothing in its first days, later the share of its price that is done."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal

from shared_schemas.actuals import Actual
from shared_schemas.load import AcceptedOrder, OrderOperation
from shared_schemas.order_events import CancellationTerms


@dataclass(frozen=True)
class Charge:
    """The share of an order's work that is done, and what cancelling it costs in the currency of the order."""

    work_share: float
    amount: Decimal


def charge_of(order: AcceptedOrder, actuals: Mapping[str, Actual], *, today: date) -> Charge:
    """What it costs to cancel an order on a day, by its terms; nothing for one without terms. `actuals` are the entries that stand, by operation.

    Notes: charge = price x max(share of the work done, least share), to the minor unit of the price; nothing until `free_until`.
    """
    share = work_share(order, actuals, today=today)
    terms = order.cancellation
    if terms is None or today <= terms.free_until:
        return Charge(share, Decimal(0))
    return Charge(share, _part_of(terms, share))


def _part_of(terms: CancellationTerms, share: float) -> Decimal:
    amount = terms.price * Decimal(repr(max(share, terms.minimum_share)))
    return amount.quantize(terms.price, rounding=ROUND_HALF_EVEN)


def work_share(order: AcceptedOrder, actuals: Mapping[str, Actual], *, today: date) -> float:
    """The share of an order's work that is done: of the costs of its operations, or of their hours where not all costs are known.

    Notes: an operation counts whole once anything was reported of it. Where nothing was ever reported of any, those count
    that were booked to begin before the day.
    """
    reported = [one for one in order.operations if one.name in actuals]
    done = reported or [one for one in order.operations if one.begins < today]
    by_cost = all(one.cost is not None for one in order.operations)
    whole = sum(_weight(one, by_cost=by_cost) for one in order.operations)
    return round(sum(_weight(one, by_cost=by_cost) for one in done) / whole, 4) if whole else 0.0


def _weight(operation: OrderOperation, *, by_cost: bool) -> float:
    return float(operation.cost or 0) if by_cost else operation.hours
