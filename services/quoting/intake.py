"""How a quote gets under way: accepted in one transaction, then its traveller is started. Starting may fail and is made up for."""

from __future__ import annotations

import hashlib
import logging
from datetime import datetime

from services.chassis.pipeline import TRANSPORT_FAULTS, write_section
from services.chassis.resources import Resources
from services.quoting.domain.request_checks import faults_of_request
from services.quoting.errors import RequestUnanswerable
from services.quoting.store.repository import IdempotencyKey, NewQuote, QuoteStore, Start
from shared_schemas.pipeline import STATIONS
from shared_schemas.quote import QuoteRequest
from shared_schemas.traveller import Job

log = logging.getLogger(__name__)


def accept(
    request: QuoteRequest, *, caller: str, idempotency_key: str | None, trace: str, now: datetime, resources: Resources
) -> tuple[str, bool]:
    """Accept a request at the latest rates, or the revision it names: its number, and whether it is a new one.

    Raises `RequestUnanswerable` for what those rates do not know, `IdempotencyKeyReused` for a key used otherwise.
    """
    revision = resources.rates.revision(request.rate_revision) if request.rate_revision else resources.rates.latest()
    faults = faults_of_request(request, rates=revision.rates, today=now.date())
    if faults:
        raise RequestUnanswerable(faults)
    document = write_section(request)
    key = None
    if idempotency_key is not None:
        key = IdempotencyKey(caller, "POST /v1/quotes", idempotency_key, hashlib.sha256(document).digest())
    new = NewQuote(
        request=document,
        customer=request.customer,
        title=request.prescription.title,
        rate_revision=revision.number,
        quoted_on=now.date(),
        trace=trace,
    )
    begun, is_new = QuoteStore(resources.database).accept(new, key, now=now, first_check_s=resources.settings.first_check_s)
    if is_new:
        start(begun, now=now, resources=resources)
    return begun.number, is_new


def start(begun: Start, *, now: datetime, resources: Resources) -> bool:
    """Put down the traveller and ring the first doorbell; whether that worked. If not, the sweeper tries again."""
    first = STATIONS[0]
    try:
        resources.travellers.start(begun.number, begun.attempt, write_section(job_of(begun)))
        resources.send(first.task, first.queue, begun.number, begun.attempt, begun.trace)
        QuoteStore(resources.database).sent(begun.number, begun.attempt, now=now)
    except TRANSPORT_FAULTS as fault:
        log.warning("traveller not started; the sweeper will", extra={"number": begun.number, "why": str(fault)})
        return False
    return True


def job_of(begun: Start) -> Job:
    """The head of a traveller, from what is stored."""
    return Job(
        number=begun.number,
        attempt=begun.attempt,
        request=QuoteRequest.model_validate_json(begun.request),
        rate_revision=begun.rate_revision,
        quoted_on=begun.quoted_on,
    )
