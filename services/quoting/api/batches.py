"""Routes of requests in bulk."""

from __future__ import annotations

from typing import Literal

from fastapi import APIRouter, Response
from starlette.concurrency import run_in_threadpool

from services.chassis.json_bodies import CheckedRoute
from services.chassis.resources import Resources
from services.chassis.web import Tools, answers
from services.quoting.api.parts import (
    How,
    Most,
    Now,
    Reader,
    Sales,
    accepting,
    answer,
    cursor_of,
    finished_answers,
    read_cursor,
)
from services.quoting.service import cancel
from services.quoting.service.documents import status_now
from services.quoting.service.intake import accept_batch
from services.quoting.store.batches import BatchStore
from services.quoting.store.rows import StoredBatch
from shared_schemas.quote_life import QuoteBatch, QuoteBatchAccepted, QuoteBatchItem, QuoteBatchRequest

router = APIRouter(route_class=CheckedRoute)

LARGEST_BATCH_BYTES = 16 * 1024 * 1024
PATH = "/v1/quote-batches"
LARGER_BODIES = {PATH: LARGEST_BATCH_BYTES}
"""Paths whose bodies may be larger than those of others; the front door says the same (deploy/front.conf)."""


@router.post(
    PATH,
    status_code=202,
    summary="Ask for up to 1000 quotes at once; all are accepted, or none is",
    response_model=QuoteBatchAccepted,
    responses={
        **answers("not-json", "invalid", "too-much-work", "body-too-large", "too-often", "queue-full"),
        **finished_answers(QuoteBatch),
    },
)
async def request_batch(asked: QuoteBatchRequest, caller: Sales, tools: Tools, now: Now, how: How) -> Response:
    number, is_new = await accepting(
        accept_batch,
        asked,
        caller=caller.key_id,
        idempotency_key=how.idempotency_key,
        trace=how.trace,
        now=now,
        resources=tools,
    )
    store = BatchStore(tools.database)
    place = f"{PATH}/{number}"
    return await answer(
        accepted=await run_in_threadpool(_accepted, number, place, store),
        place=place,
        is_new=is_new,
        how=how,
        is_done=lambda: store.runs.is_finished(number),
        outcome=lambda: _document(number, tools, first=0, most=50).model_dump_json().encode(),
    )


@router.get(
    PATH + "/{number}",
    summary="How far a batch is, and its quotes in the order of the requests",
    response_model=QuoteBatch,
    responses=answers("not-found", "invalid", "gone"),
)
def get_batch(number: str, caller: Reader, tools: Tools, cursor: str | None = None, limit: Most = 50) -> QuoteBatch:
    return _document(number, tools, first=read_cursor(tools, "b", cursor) or 0, most=limit)


@router.delete(
    PATH + "/{number}",
    summary="Cancel those quotes of a batch that are still under way",
    response_model=QuoteBatch,
    responses=answers("not-found", "invalid"),
)
def cancel_batch(number: str, caller: Sales, tools: Tools, now: Now) -> QuoteBatch:
    cancel.cancel_batch(number, caller=caller, now=now, resources=tools)
    return _document(number, tools, first=0, most=50)


def _accepted(number: str, place: str, store: BatchStore) -> QuoteBatchAccepted:
    return QuoteBatchAccepted(
        number=number, status=_status(store.batch(number)), quotes=store.numbers(number), links={"self": place}
    )


def _document(number: str, tools: Resources, *, first: int, most: int) -> QuoteBatch:
    store = BatchStore(tools.database)
    batch = store.batch(number)
    rows = store.page(number, first=first, most=most)
    items = tuple(
        QuoteBatchItem(
            place=first + place, number=row.quote_number, status=status_now(row, tools), customer=row.customer, title=row.title
        )
        for place, row in enumerate(rows)
    )
    following = first + len(rows)
    return QuoteBatch(
        number=number,
        status=_status(batch),
        created_at=batch.created_at,
        counts={
            "in_work": batch.in_work,
            "ready": batch.counts.get("ready", 0),
            "refused": batch.counts.get("refused", 0),
            "failed": batch.counts.get("failed", 0),
            "cancelled": batch.counts.get("cancelled", 0),
        },
        items=items,
        next=cursor_of(tools, "b", following) if rows and following < batch.size else None,
    )


def _status(batch: StoredBatch) -> Literal["in_work", "finished"]:
    return "in_work" if batch.in_work else "finished"
