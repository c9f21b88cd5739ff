"""What an acceptance books: the quantity ordered, worked out again on that day against the newest book of load."""

from __future__ import annotations

import json
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from threading import Lock
from typing import Any

from cachetools import LRUCache

from services.chassis.rate_source import RevisionOutgrown
from services.chassis.resources import Resources
from services.quoting.pricing.evaluation import Evaluation, evaluate
from services.quoting.pricing.plans import Plans
from services.quoting.pricing.quote import plans_for
from services.quoting.service.documents import not_ready
from services.quoting.service.production_order import bought_for, operations_of
from services.quoting.service.runs import job_of
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import StoredQuote
from shared_schemas.blanks import BlankPlan
from shared_schemas.lead_times import PromisedAtAcceptance
from shared_schemas.load import AcceptedOrder, LoadSnapshot, OrderMaterial, OrderOperation, QuotedOutcome
from shared_schemas.operations import OperationPlan, PartClasses
from shared_schemas.rates import Rates

MOST_KEPT = 4
"""Plans kept in memory, some 15 MB each for a lens of six elements."""
_kept: LRUCache[tuple[str, str | None], Plans] = LRUCache(MOST_KEPT)
_lock = Lock()


@dataclass(frozen=True)
class Booking:
    """An acceptance in time: the date promised with it, and what is handed over to orders."""

    promised: PromisedAtAcceptance
    order: AcceptedOrder


def booking_of(row: StoredQuote, quantity: int, *, at: datetime, resources: Resources) -> Booking:
    """What it books to accept so many of a ready quote at that moment; raises `QuoteNotReady` for any other."""
    load = resources.load.latest()
    plans = plans_on(row, at.date(), load=load, resources=resources)
    evaluation = evaluate(plans, quantity=quantity, evened=False)
    promised = PromisedAtAcceptance(
        quoted_ship_date=quoted_ship_date(row, quantity),
        ship_date=evaluation.schedule.ship_date,
        days=evaluation.schedule.promised,
        load_snapshot=load.number if load else None,
        at=at,
    )
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
        operations=order_operations(evaluation),
    )
    return Booking(promised, order)


def plans_on(row: StoredQuote, day: date, *, load: LoadSnapshot | None, resources: Resources) -> Plans:
    """What a ready quote was worked out from, at its own rates, as it would be ordered on a day; raises `QuoteNotReady` for any other."""
    return _plans_of(row, resources).on(day, load)


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
