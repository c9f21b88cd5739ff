"""What an acceptance books: the quantity ordered, worked out again on that day against the newest book of load."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from threading import Lock
from typing import Any

from cachetools import LRUCache

from services.chassis.rate_source import RevisionOutgrown
from services.chassis.resources import Resources
from services.quoting.pricing.deliveries import promised_deliveries
from services.quoting.pricing.evaluation import Evaluation, evaluate
from services.quoting.pricing.plans import Plans
from services.quoting.pricing.quote import plans_for
from services.quoting.service.documents import decision_document, not_ready
from services.quoting.service.production_order import bought_for, figures_of, operations_of
from services.quoting.service.runs import job_of
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import StoredQuote
from shared_schemas.blanks import BlankPlan
from shared_schemas.lead_times import Delivery, PromisedAtAcceptance, PromisedDelivery
from shared_schemas.load import AcceptedOrder, LoadSnapshot, OrderMaterial, OrderOperation, QuotedOutcome
from shared_schemas.operations import OperationPlan, PartClasses
from shared_schemas.order_events import CancellationTerms
from shared_schemas.quote import OrderChange, QuoteBody
from shared_schemas.rates import CommercialRow, Rates

MOST_KEPT = 4
"""Plans kept in memory, some 15 MB each for a lens of six elements."""
_kept: LRUCache[tuple[str, str | None], Plans] = LRUCache(MOST_KEPT)
_lock = Lock()


@dataclass(frozen=True)
class Booking:
    """An acceptance in time: the date promised with it, what is handed over to orders, and what it changes of an order that there was."""

    promised: PromisedAtAcceptance
    order: AcceptedOrder
    change: OrderChange | None


def booking_of(
    row: StoredQuote, quantity: int, *, at: datetime, resources: Resources, before: StoredQuote | None = None,
    deliveries: Sequence[Delivery] = (),
) -> Booking:  # fmt: skip
    """What it books to accept so many of a ready quote at that moment, in the place of the order of a revision `before` where there is one.

    Raises `QuoteNotReady` for any other quote.
    """
    load = resources.load.latest()
    plans = plans_on(row, at.date(), load=load, resources=resources)
    evaluation = evaluate(plans, quantity=quantity, evened=False)
    promised = PromisedAtAcceptance(
        quoted_ship_date=quoted_ship_date(row, quantity),
        ship_date=evaluation.schedule.ship_date,
        days=evaluation.schedule.promised,
        load_snapshot=load.number if load else None,
        at=at,
        deliveries=_promised(plans, quantity, deliveries),
    )
    price = _payable(row, quantity)
    order = AcceptedOrder(
        quote_number=row.quote_number,
        revision=row.revision,
        quantity=quantity,
        customer=row.customer,
        title=row.title,
        accepted_at=at,
        quoted_ship_date=promised.quoted_ship_date,
        ship_date=promised.ship_date,
        load_snapshot=promised.load_snapshot,
        currency=plans.currency.name,
        rate_revision=row.rate_revision,
        quoted=quoted_outcome(row, quantity),
        materials=order_materials(evaluation),
        consumes={one.part: tuple(part.part for part in one.consumes) for one in evaluation.made.routes if one.consumes},
        changes_order=before.revision if before is not None else None,
        cancellation=_terms(plans.terms, price, at.date()),
        deliveries=tuple(deliveries),
        operations=order_operations(evaluation),
    )
    return Booking(promised, order, None if before is None else _change(before, price, plans.currency.name, promised.ship_date))


def _promised(plans: Plans, quantity: int, deliveries: Sequence[Delivery]) -> tuple[PromisedDelivery, ...]:
    """When the parts of an order are ready that are wanted by themselves."""
    return promised_deliveries(evaluate(plans, quantity=quantity, evened=True), deliveries) if deliveries else ()


def _terms(terms: CommercialRow, price: Decimal, day: date) -> CancellationTerms | None:
    """On which terms an order that is accepted on a day may be cancelled, `None` where the rates say nothing of it."""
    if terms.cancel_free_days is None or terms.cancel_minimum_share is None:
        return None
    free_until = day + timedelta(days=terms.cancel_free_days)
    return CancellationTerms(free_until=free_until, minimum_share=terms.cancel_minimum_share, price=price)


def _payable(row: StoredQuote, quantity: int) -> Decimal:
    """What is payable for a quantity of a ready quote, tools included."""
    body = QuoteBody.model_validate_json(row.body or b"")
    return figures_of(next(one for one in body.breaks if one.quantity == quantity), body).total_payable


def _change(before: StoredQuote, price: Decimal, currency: str, ship_date: date) -> OrderChange:
    """What the order of a revision becomes with another price and day; what is not known of it any more is left out."""
    change = OrderChange(changes_order=before.revision, new_price=price, new_ship_date=ship_date)
    decision = before.decision
    if decision is None or decision.quantity is None or before.body is None:
        return change
    old = decision_document(before, decision).promised
    old_price, old_currency = _payable(before, decision.quantity), str(json.loads(before.body)["currency"])
    old_ship_date = old.ship_date if old is not None else quoted_ship_date(before, decision.quantity)
    return change.model_copy(
        update={
            "old_quantity": decision.quantity,
            "old_currency": old_currency,
            "old_price": old_price,
            "price_difference": price - old_price if old_currency == currency else None,
            "old_ship_date": old_ship_date,
            "days_later": (ship_date - old_ship_date).days,
        }
    )


def plans_on(row: StoredQuote, day: date, *, load: LoadSnapshot | None, resources: Resources) -> Plans:
    """What a ready quote was worked out from, at its own rates, as it would be ordered on a day; raises `QuoteNotReady` for any other.

    What an order of an earlier revision has booked does not stand in its way: it would take its place.
    """
    return _plans_of(row, resources).on(day, None if load is None else load.without(row.quote_number))


def _plans_of(row: StoredQuote, resources: Resources) -> Plans:
    """The plans of a ready quote as it was asked for, kept in memory: who asks when it would be ready asks again, and then orders."""
    key = (row.number, row.digest)
    with _lock:
        if key in _kept:
            return _kept[key]
    found = QuoteStore(resources.database).sections(row.number)
    if found is None:
        raise not_ready(row)
    begun, blanks, operations = found
    plans = plans_for(
        job_of(begun),
        BlankPlan.model_validate_json(blanks),
        OperationPlan.model_validate_json(operations),
        _readable_rates(begun.rate_revision, resources),
    )
    with _lock:
        return _kept.setdefault(key, plans)


def _readable_rates(revision: int, resources: Resources) -> Rates:
    """The rates of a revision; of one that an earlier release left and this one cannot read, those of today: no price is made of them."""
    try:
        return resources.rates.revision(revision).rates
    except RevisionOutgrown:
        return resources.rates.latest().rates


def quoted_ship_date(row: StoredQuote, quantity: int) -> date:
    """The ship date that the body of a ready quote has for a quantity; raises `LookupError` for one that was not quoted."""
    return date.fromisoformat(_quoted_break(row, quantity)["lead_time"]["ship_date"])


def quoted_outcome(row: StoredQuote, quantity: int) -> QuotedOutcome:
    """How the body of a ready quote says that a quantity may turn out; raises `LookupError` for one that was not quoted."""
    price_break = _quoted_break(row, quantity)
    days, within = price_break["lead_time"], price_break["unit_cost"].get("p80")
    return QuotedOutcome(
        unit_cost_p80=None if within is None else Decimal(within), p50_days=days["p50_days"], p80_days=days.get("p80_days")
    )


def _quoted_break(row: StoredQuote, quantity: int) -> dict[str, Any]:
    breaks: list[dict[str, Any]] = json.loads(row.body or b'{"breaks": []}')["breaks"]
    return {int(price_break["quantity"]): price_break for price_break in breaks}[quantity]


def order_materials(evaluation: Evaluation) -> tuple[OrderMaterial, ...]:
    """Glass and bought parts of an order, what is of one id together."""
    costs: dict[str, Decimal] = defaultdict(Decimal)
    items: dict[str, str] = {}
    for one in bought_for(evaluation):
        costs[one.id] += one.cost
        items[one.id] = one.item
    return tuple(OrderMaterial(id=name, item=items[name], cost=cost) for name, cost in costs.items())


def order_operations(evaluation: Evaluation) -> tuple[OrderOperation, ...]:
    """Every operation of an order, part by part in the order of the routes: its machine minutes, pieces and cost, and the days it is expected on."""
    costs = (cost for route in evaluation.made.routes for cost in evaluation.operations[route.part])
    classes = {one.part: one for one in evaluation.plans.classes}
    unclassed = PartClasses(part="")
    return tuple(
        OrderOperation(
            id=line.id,
            sequence=sequence,
            part=line.part,
            operation=line.operation,
            work_centre=cost.work_centre.name,
            hours=cost.machine_min / 60,
            begins=line.starts,
            # What takes no time at the end of a day begins on the next by the count of hours.
            ends=max(line.starts, line.finishes),
            method=line.method,
            glass_class=classes.get(line.part, unclassed).glass,
            tolerance_class=classes.get(line.part, unclassed).tolerance_of(line.operation, line.face),
            setup_min=line.setup_min,
            run_min=max(line.run_min, 0.0),
            pieces=line.pieces_in,
            cost=line.cost,
            yield_share=line.yield_share,
        )
        for sequence, (cost, line) in enumerate(zip(costs, operations_of(evaluation), strict=True), start=1)
        if line.starts is not None and line.finishes is not None
    )
