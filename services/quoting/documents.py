"""Stored rows as the documents that callers see. A quote's body is passed on as the bytes that were stored."""

from __future__ import annotations

from typing import cast

import redis

from services.chassis.resources import Resources
from services.quoting.domain.estimate import estimate
from services.quoting.domain.quote import explain
from services.quoting.errors import QuoteNotReady
from services.quoting.intake import job_of
from services.quoting.store.repository import QuoteStore, StoredQuote
from shared_schemas.blanks import BlankPlan
from shared_schemas.operations import OperationPlan
from shared_schemas.pipeline import STATIONS
from shared_schemas.problem import Problem
from shared_schemas.quote import Estimate, Explanation, Quote, QuoteBody, QuoteStatus


def status_now(row: StoredQuote, resources: Resources) -> QuoteStatus:
    """The status of a quote at this moment: an accepted one is where its traveller is."""
    if row.status != "accepted":
        return cast(QuoteStatus, row.status)
    try:
        stamped = resources.travellers.stamped(row.number, row.attempt)
    except redis.RedisError:
        return "accepted"
    if "job" not in stamped:
        return "accepted"
    here = next(station for station in STATIONS if station.section not in stamped)
    return cast(QuoteStatus, here.status)


def quote_document(row: StoredQuote, status: QuoteStatus) -> bytes:
    """The quote as JSON; what was worked out goes in as it was stored, byte for byte."""
    head = Quote(
        number=row.number,
        revision=row.revision,
        status=status,
        attempt=row.attempt,
        created_at=row.created_at,
        finished_at=row.finished_at,
        customer=row.customer,
        digest=row.digest,
        problem=Problem.model_validate_json(row.problem) if row.problem else None,
        rate_revision=row.rate_revision,
    )
    if row.body is None:
        return head.model_dump_json().encode()
    return head.model_dump_json(exclude=set(QuoteBody.model_fields))[:-1].encode() + b"," + row.body[1:]


def explanation_document(number: str, resources: Resources) -> Explanation:
    """What lies behind a ready quote, worked out again from what it was made of; raises `QuoteNotReady` for any other."""
    kept = QuoteStore(resources.database).sections(number)
    if kept is None:
        raise QuoteNotReady(number)
    begun, blanks, operations = kept
    return explain(
        job=job_of(begun),
        blanks=BlankPlan.model_validate_json(blanks),
        operations=OperationPlan.model_validate_json(operations),
        rates=resources.rates.revision(begun.rate_revision).rates,
    )


def estimate_document(row: StoredQuote, number: str) -> Estimate:
    """The job estimate of a ready quote."""
    assert row.body is not None
    assert row.finished_at is not None
    return estimate(
        number=number,
        quote_number=row.number,
        revision=row.revision,
        customer=row.customer,
        finished_at=row.finished_at,
        body=QuoteBody.model_validate_json(row.body),
    )
