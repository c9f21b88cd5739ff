"""When would it be ready, if it were ordered today? The book of today answers; the quote stays as it is."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from services.chassis.resources import Resources
from services.quoting.errors import RequestUnanswerable
from services.quoting.pricing.deliveries import promised_deliveries
from services.quoting.pricing.evaluation import evaluate
from services.quoting.service.booking import plans_on, quoted_ship_date
from services.quoting.service.order_checks import days_gone
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import StoredQuote
from shared_schemas.lead_times import Delivery, Promise, PromiseRequest


def promise(number: str, asked: PromiseRequest, *, now: datetime, resources: Resources) -> Promise:
    """The earliest days for a quantity of a ready quote, ordered today against the newest book.

    Raises `QuoteUnknown`, `RevisionUnknown`, `QuoteNotReady` for a quote without a price, `RequestUnanswerable` for a delivery on a day that is gone.
    """
    today = now.date()
    refuse_days_gone(asked.deliveries, today)
    row = QuoteStore(resources.database).quote(number, asked.revision)
    load = resources.load.latest()
    plans = plans_on(row, today, load=load, resources=resources)
    evaluation = evaluate(plans, quantity=asked.quantity, evened=bool(asked.deliveries))
    return Promise(
        number=row.quote_number,
        revision=row.revision,
        quantity=asked.quantity,
        currency=plans.currency.name,
        ordered_on=today,
        load_snapshot=load.number if load else None,
        quoted_ship_date=_quoted(row, asked.quantity),
        days=evaluation.schedule.promised,
        lead_time=evaluation.schedule.lead_time,
        deliveries=promised_deliveries(evaluation, asked.deliveries),
    )


def refuse_days_gone(deliveries: Sequence[Delivery], today: date) -> None:
    """Raise `RequestUnanswerable` that names every delivery which is wanted on a day that is gone."""
    gone = days_gone(deliveries, today)
    if gone:
        raise RequestUnanswerable(gone)


def _quoted(row: StoredQuote, quantity: int) -> date | None:
    try:
        return quoted_ship_date(row, quantity)
    except LookupError:
        return None
