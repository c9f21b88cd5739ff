"""How a quote gets under way: accepted in one transaction, then its traveller is started. Starting may fail and is made up for."""

from __future__ import annotations

import hashlib
import json
import logging
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from pydantic import BaseModel, ValidationError

from services.chassis.pipeline import TRANSPORT_FAULTS, write_section
from services.chassis.problems import details_of_invalid
from services.chassis.resources import Resources
from services.quoting.errors import QuoteInWork, RequestUnanswerable
from services.quoting.service.merge_patch import merged
from services.quoting.service.request_checks import faults_of_request
from services.quoting.store.batches import BatchStore
from services.quoting.store.life import LifeStore
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import IdempotencyKey, NewQuote, Start
from shared_schemas.pipeline import STATIONS
from shared_schemas.problem import ProblemDetail
from shared_schemas.quote import QuoteRequest
from shared_schemas.quote_life import MOST_FAULTS, QuoteBatchRequest, RequoteRequest
from shared_schemas.rates import RateRevision
from shared_schemas.traveller import Job

log = logging.getLogger(__name__)


def accept(
    request: QuoteRequest, *, caller: str, idempotency_key: str | None, trace: str, now: datetime, resources: Resources
) -> tuple[Start, bool]:
    """Accept a request at the latest rates, or the revision it names: its start, and whether it is a new one.

    Raises `RequestUnanswerable` for what those rates do not know, `IdempotencyKeyReused` for a key used otherwise,
    `QueueFull` when too many quotes are under way.
    """
    store = QuoteStore(resources.database)
    key = key_for(request, caller=caller, route="POST /v1/quotes", key=idempotency_key)
    known = store.start_under(key)
    if known is not None:
        return known, False
    revision = resources.rates.revision(request.rate_revision) if request.rate_revision else resources.rates.latest()
    faults = faults_of_request(request, rates=revision.rates, today=now.date())
    if faults:
        raise RequestUnanswerable(faults)
    begun, is_new = store.accept(
        new_quote(request, revision, trace=trace, now=now),
        key,
        now=now,
        first_check_s=resources.settings.first_check_s,
        most_unfinished=resources.settings.most_unfinished,
    )
    if is_new:
        start(begun, now=now, resources=resources)
    return begun, is_new


def accept_requote(
    number: str, asked: RequoteRequest, *, caller: str, idempotency_key: str | None, trace: str, now: datetime, resources: Resources
) -> tuple[Start, bool]:
    """Accept the next revision of a quote at the latest rates, or the revision it names: its start, and whether it is a new one.

    Raises `QuoteUnknown`, `QuoteInWork` while a revision is under way, `RequestUnanswerable` for changes that make no
    request or one that those rates do not know, `IdempotencyKeyReused`, `QueueFull`.
    """
    latest = QuoteStore(resources.database).quote(number)
    key = key_for(asked, caller=caller, route=f"POST /v1/quotes/{number}/requote", key=idempotency_key)
    known = QuoteStore(resources.database).start_under(key)
    if known is not None:
        return known, False
    if latest.status == "accepted":
        raise QuoteInWork(number, latest.revision)
    life = LifeStore(resources.database)
    before = json.loads(life.request_of(latest.number)) | {"rate_revision": asked.rate_revision}
    request = _changed(before, asked.changes)
    revision = resources.rates.revision(asked.rate_revision) if asked.rate_revision else resources.rates.latest()
    faults = faults_of_request(request, rates=revision.rates, today=now.date())
    if faults:
        raise RequestUnanswerable(below("/changes", faults))
    begun, is_new = life.add_revision(
        number,
        new_quote(request, revision, trace=trace, now=now),
        key,
        after=latest.revision,
        now=now,
        first_check_s=resources.settings.first_check_s,
        most_unfinished=resources.settings.most_unfinished,
    )
    if is_new:
        start(begun, now=now, resources=resources)
    return begun, is_new


def accept_batch(
    asked: QuoteBatchRequest, *, caller: str, idempotency_key: str | None, trace: str, now: datetime, resources: Resources
) -> tuple[str, bool]:
    """Accept many requests in one transaction, each as `accept` would: the number of the batch, and whether it is a new one.

    Raises `RequestUnanswerable` that names every request which the rates cannot answer, `IdempotencyKeyReused`.
    """
    store = BatchStore(resources.database)
    key = key_for(asked, caller=caller, route="POST /v1/quote-batches", key=idempotency_key)
    known = store.under(key)
    if known is not None:
        return known, False
    latest = resources.rates.latest()
    quotes, faults = [], []
    for place, request in enumerate(asked.requests):
        revision = resources.rates.revision(request.rate_revision) if request.rate_revision else latest
        faults += below(f"/requests/{place}", faults_of_request(request, rates=revision.rates, today=now.date()))
        if len(faults) >= MOST_FAULTS:
            break
        quotes.append(new_quote(request, revision, trace=trace, now=now))
    if faults:
        raise RequestUnanswerable(faults[:MOST_FAULTS])
    number, is_new = store.accept(quotes, key, now=now)
    if is_new:
        let_in(now=now, resources=resources)
    return number, is_new


def let_in(*, now: datetime, resources: Resources) -> None:
    """Start quotes of batches whose turn has come, so many that a single quote never waits long behind them."""
    chosen = resources.settings
    begun = BatchStore(resources.database).let_in(
        most_in_flight=chosen.most_bulk_in_flight, now=now, first_check_s=chosen.first_check_s
    )
    for one in begun:
        if not start(one, now=now, resources=resources):
            return


def key_for(asked: BaseModel, *, caller: str, route: str, key: str | None) -> IdempotencyKey | None:
    """A caller's own name for what is asked on a route, with the digest of its body."""
    if key is None:
        return None
    return IdempotencyKey(caller, route, key, hashlib.sha256(write_section(asked)).digest())


def new_quote(request: QuoteRequest, revision: RateRevision, *, trace: str, now: datetime) -> NewQuote:
    """A request as it is stored, with the rates it is pinned to and the day it is quoted on."""
    return NewQuote(
        request=write_section(request),
        customer=request.customer,
        title=request.prescription.title,
        rate_revision=revision.number,
        quoted_on=now.date(),
        trace=trace,
    )


def below(pointer: str, faults: Sequence[ProblemDetail]) -> list[ProblemDetail]:
    """The faults of a document that is a part of another, at `pointer` in it."""
    return [fault.model_copy(update={"pointer": pointer + fault.pointer}) for fault in faults]


def _changed(request: dict[str, Any], changes: dict[str, Any]) -> QuoteRequest:
    """A request with changes in it; raises `RequestUnanswerable` with the places that cannot be, below `/changes`."""
    document = merged(request, changes)
    try:
        return QuoteRequest.model_validate(document)
    except ValidationError as fault:
        raise RequestUnanswerable(below("/changes", details_of_invalid(fault.errors(), document))) from fault


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
    log.info("traveller started", extra={"number": begun.number, "attempt": begun.attempt, "trace": begun.trace})
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
