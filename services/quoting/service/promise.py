"""When would it be ready, if it were ordered today? The book of today answers; the quote stays as it is."""

from __future__ import annotations

from collections import OrderedDict
from datetime import date, datetime
from threading import Lock

from services.chassis.resources import Resources
from services.quoting.errors import QuoteNotReady, RequestUnanswerable
from services.quoting.pricing.deliveries import promised_deliveries
from services.quoting.pricing.evaluation import evaluate
from services.quoting.pricing.plans import Plans
from services.quoting.service.booking import plans_on, quoted_ship_date
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import StoredQuote
from shared_schemas.lead_times import Promise, PromiseRequest
from shared_schemas.problem import ProblemDetail

MOST_KEPT = 16
_kept: OrderedDict[tuple[str, str, date, int | None], Plans] = OrderedDict()
_lock = Lock()


def promise(number: str, asked: PromiseRequest, *, now: datetime, resources: Resources) -> Promise:
    """The earliest days for a quantity of a ready quote, ordered today against the newest book.

    Raises `QuoteUnknown`, `RevisionUnknown`, `QuoteNotReady` for a quote without a price, `RequestUnanswerable` for a delivery on a day that is gone.
    """
    gone = [
        ProblemDetail(
            pointer=f"/deliveries/{place}/by", reason="that day is gone", figure=one.by.isoformat(), limit=now.date().isoformat(),
            remedy="name a day to come, or leave it out",
        )
        for place, one in enumerate(asked.deliveries)
        if one.by is not None and one.by < now.date()
    ]  # fmt: skip
    if gone:
        raise RequestUnanswerable(gone)
    row = QuoteStore(resources.database).quote(number, asked.revision)
    if row.body is None or row.digest is None:
        raise QuoteNotReady(row.quote_number, row.revision)
    load = resources.load.latest()
    plans = _plans(row, now.date(), resources)
    evaluation = evaluate(plans, quantity=asked.quantity, evened=bool(asked.deliveries))
    return Promise(
        number=row.quote_number,
        revision=row.revision,
        quantity=asked.quantity,
        currency=plans.currency.name,
        ordered_on=now.date(),
        load_snapshot=load.number if load else None,
        quoted_ship_date=_quoted(row, asked.quantity),
        days=evaluation.schedule.promised,
        lead_time=evaluation.schedule.lead_time,
        deliveries=promised_deliveries(evaluation, plans, asked.deliveries),
    )


def _plans(row: StoredQuote, today: date, resources: Resources) -> Plans:
    """The plans of a quote against the newest book; kept while neither changes, as one who asks once often asks again."""
    load = resources.load.latest()
    key = (row.number, str(row.digest), today, load.number if load else None)
    with _lock:
        if key in _kept:
            _kept.move_to_end(key)
            return _kept[key]
    plans = plans_on(row, today, load=load, resources=resources)
    with _lock:
        _kept[key] = plans
        while len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)
    return plans


def _quoted(row: StoredQuote, quantity: int) -> date | None:
    try:
        return quoted_ship_date(row, quantity)
    except LookupError:
        return None
