"""How a quote gets under way: accepted in one transaction, then its traveller is started."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from datetime import datetime

from pydantic import BaseModel

from services.chassis.pipeline import write_section
from services.chassis.resources import Resources
from services.quoting.errors import QuoteInWork, RequestUnanswerable
from services.quoting.service.assembling import ready_quote
from services.quoting.service.changed_request import changed
from services.quoting.service.repeating import with_tools_of_before
from services.quoting.service.request_checks import faults_of_request, faults_past_the_worksheet, to_be_withdrawn
from services.quoting.service.runs import RunKind, admit, begin, bounds_of
from services.quoting.service.work import refuse_too_much_work, work_of
from services.quoting.store.batches import BatchStore
from services.quoting.store.life import LifeStore
from services.quoting.store.repository import QUOTE_RUNS, QuoteStore
from services.quoting.store.rows import IdempotencyKey, NewQuote, Start, StoredQuote
from services.quoting.store.runs import accepted_before, by_number
from shared_schemas.load import LoadSnapshot
from shared_schemas.problem import ProblemDetail
from shared_schemas.quote_life import MOST_FAULTS, QuoteBatchRequest, RequoteRequest
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import RateRevision

QUOTES = RunKind(QUOTE_RUNS, conclude=ready_quote)
"""Quotes, singly and in batches."""


def accept(
    request: QuoteRequest, *, caller: str, idempotency_key: str | None, trace: str, now: datetime, resources: Resources
) -> tuple[Start, bool]:
    """Accept a request at the latest rates, or the revision it names: its start, and whether it is a new one.

    Raises `RequestUnanswerable` for what those rates do not know, `IdempotencyKeyReused` for a key used otherwise,
    `TooMuchWork`, `QueueFull` or `KeyHasEnough` when too many quotes are under way.
    """
    store = QuoteStore(resources.database)
    key = key_for(request, caller=caller, route="POST /v1/quotes", key=idempotency_key)
    known = store.start_under(key)
    if known is not None:
        return known, False
    revision = resources.rates.revision(request.rate_revision) if request.rate_revision else resources.rates.latest()
    faults = faults_past_the_worksheet(request)
    request, of_before = with_tools_of_before(request, resources)
    faults += [*faults_of_request(request, rates=revision.rates, today=now.date()), *of_before]
    if faults:
        raise RequestUnanswerable(faults)
    begun, is_new = store.accept(
        new_quote(request, revision, resources, caller=caller, trace=trace, now=now),
        key,
        now=now,
        bounds=bounds_of(resources.settings),
    )
    if is_new:
        begin(QUOTE_RUNS, begun, now=now, resources=resources)
    return begun, is_new


def accept_requote(
    number: str, asked: RequoteRequest, *, caller: str, idempotency_key: str | None, trace: str, now: datetime, resources: Resources
) -> tuple[Start, bool]:
    """Accept the next revision of a quote at the latest rates, or the revision it names: its start, and whether it is a new one.

    Raises `QuoteUnknown`, `QuoteInWork` while a revision is under way, `RequestUnanswerable` for changes that make no
    request or one that those rates do not know, `PatchTestFailed`, `TooMuchWork`, `IdempotencyKeyReused`, `QueueFull`, `KeyHasEnough`.
    """
    latest = QuoteStore(resources.database).quote(number)
    key = key_for(asked, caller=caller, route=f"POST /v1/quotes/{number}/requote", key=idempotency_key)
    known = QuoteStore(resources.database).start_under(key)
    if known is not None:
        return known, False
    if latest.status == "accepted":
        raise QuoteInWork(number, latest.revision)
    before = json.loads(LifeStore(resources.database).request_of(latest.number)) | {"rate_revision": asked.rate_revision}
    wanted = changed(before, changes=asked.changes, patch=asked.patch)
    request, of_before = with_tools_of_before(wanted.request, resources)
    revision = resources.rates.revision(asked.rate_revision) if asked.rate_revision else resources.rates.latest()
    overrides = QuoteRequest.model_validate(before).overrides
    faults = [*faults_of_request(request, rates=revision.rates, today=now.date()), *of_before]
    faults = [to_be_withdrawn(fault, overrides, number=number) for fault in faults]
    wanted.refuse_if_any([*faults, *faults_past_the_worksheet(request, before=overrides, number=number)])
    return next_revision(latest, request, revision, key, caller=caller, trace=trace, now=now, resources=resources)


def next_revision(
    latest: StoredQuote, request: QuoteRequest, revision: RateRevision, key: IdempotencyKey | None, *, caller: str, trace: str,
    now: datetime, resources: Resources,
) -> tuple[Start, bool]:  # fmt: skip
    """Begin the revision of a quote that follows `latest`: its start, and whether it is a new one.

    Raises `QuoteInWork` where another became the latest meanwhile, `TooMuchWork`, `IdempotencyKeyReused`, `QueueFull`, `KeyHasEnough`.
    """
    begun, is_new = LifeStore(resources.database).add_revision(
        latest.quote_number,
        new_quote(request, revision, resources, caller=caller, trace=trace, now=now),
        key,
        after=latest.revision,
        now=now,
        bounds=bounds_of(resources.settings),
    )
    if is_new:
        begin(QUOTE_RUNS, begun, now=now, resources=resources)
    return begun, is_new


def accept_batch(
    asked: QuoteBatchRequest, *, caller: str, idempotency_key: str | None, trace: str, now: datetime, resources: Resources
) -> tuple[str, bool]:
    """Accept many requests in one transaction, each as `accept` would: the number of the batch, and whether it is a new one.

    Raises `RequestUnanswerable` that names every request which the rates cannot answer, `TooMuchWork`,
    `IdempotencyKeyReused`, `QueueFull`, `KeyHasEnough`.
    """
    key = key_for(asked, caller=caller, route="POST /v1/quote-batches", key=idempotency_key)
    known = accepted_before(resources.database, key, known=by_number)
    if known is not None:
        return known, False
    latest, load = resources.rates.latest(), resources.load.latest()
    quotes, faults = [], []
    for place, one in enumerate(asked.requests):
        request, of_before = with_tools_of_before(one, resources)
        revision = resources.rates.revision(request.rate_revision) if request.rate_revision else latest
        past = faults_past_the_worksheet(request)
        faults += below(
            f"/requests/{place}", [*past, *faults_of_request(request, rates=revision.rates, today=now.date()), *of_before]
        )
        if len(faults) >= MOST_FAULTS:
            break
        refuse_too_much_work(request, most_s=resources.settings.most_work_s, pointer=f"/requests/{place}")
        quotes.append(_as_stored(request, revision, load, resources, caller=caller, trace=trace, now=now))
    if faults:
        raise RequestUnanswerable(faults[:MOST_FAULTS])
    number, is_new = BatchStore(resources.database).accept(quotes, key, now=now, bounds=bounds_of(resources.settings))
    if is_new:
        admit(now=now, resources=resources)
    return number, is_new


def key_for(asked: BaseModel, *, caller: str, route: str, key: str | None) -> IdempotencyKey | None:
    """A caller's own name for what is asked on a route, with the digest of its body."""
    if key is None:
        return None
    return IdempotencyKey(caller, route, key, hashlib.sha256(write_section(asked)).digest())


def new_quote(
    request: QuoteRequest, revision: RateRevision, resources: Resources, *, caller: str, trace: str, now: datetime
) -> NewQuote:  # fmt: skip
    """A request as it is stored, pinned to the newest book of load; raises `TooMuchWork`."""
    refuse_too_much_work(request, most_s=resources.settings.most_work_s)
    return _as_stored(request, revision, resources.load.latest(), resources, caller=caller, trace=trace, now=now)


def _as_stored(
    request: QuoteRequest, revision: RateRevision, load: LoadSnapshot | None, resources: Resources, *, caller: str, trace: str, now: datetime
) -> NewQuote:  # fmt: skip
    """A request with the rates and the book of load it is pinned to, the day it is quoted on, who asked, and how much work it is."""
    work_s = work_of(request)
    return NewQuote(
        request=write_section(request),
        customer=request.customer,
        reference=request.reference,
        title=request.prescription.title,
        rate_revision=revision.number,
        quoted_on=now.date(),
        trace=trace,
        load_snapshot=load.number if load else None,
        caller=caller,
        work_s=work_s,
        large=work_s > resources.settings.most_quick_work_s,
    )


def below(pointer: str, faults: Sequence[ProblemDetail]) -> list[ProblemDetail]:
    """The faults of a document that is a part of another, at `pointer` in it."""
    return [fault.model_copy(update={"pointer": pointer + fault.pointer}) for fault in faults]
