"""Routes of orders: the book of load and its snapshots, what an ERP books, and orders until they end."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Header, Query, Response

from services.chassis.cursors import cursor_at, position_of
from services.chassis.json_bodies import CheckedRoute
from services.chassis.negotiation import is_known, quality
from services.chassis.refusals import Refused
from services.chassis.web import Tools, answers
from services.orders import api_accuracy, api_actuals, api_endings, api_learned, errors
from services.orders.api_parts import (
    JSON,
    SVG,
    Cursor,
    Most,
    Now,
    Number,
    OrderNumber,
    Planner,
    Reader,
    ReaderOrSuite,
)
from services.orders.domain.progress import progress_in_short, progress_of
from services.orders.service import load_book, order_in_book, put_load
from services.orders.store.actuals import ActualStore
from services.orders.store.repository import BookStore
from services.shop.errors import ShopError
from shared_schemas.load import LoadBook, LoadPut, LoadSnapshot, LoadSnapshotPage, OrderInBook, OrderPage
from shared_schemas.problem import Explained

router = APIRouter(route_class=CheckedRoute)
router.include_router(api_actuals.router)
router.include_router(api_learned.router)
router.include_router(api_endings.router)
router.include_router(api_accuracy.router)

PATH = "/v1/load"
LARGER_BODIES = {PATH: 8 * 1024 * 1024}
"""Paths whose bodies may be larger than those of others; the front door says the same (deploy/front.conf)."""

STATUS: dict[type[Explained], tuple[int, str, str]] = {
    ShopError: (422, "rates", "The rates cannot answer this"),
    errors.OrdersError: (422, "invalid", "The request has values that cannot be"),
    errors.BookingsRefused: (422, "invalid", "There are bookings that cannot be"),
    errors.SnapshotUnknown: (404, "not-found", "There is no such snapshot"),
    errors.OrderUnknown: (404, "not-found", "There is no such order"),
    errors.EstimateNotOrdered: (404, "not-found", "The estimate is no order"),
    errors.ActualsRefused: (422, "invalid", "There are entries that cannot be"),
    errors.IdempotencyKeyReused: (422, "idempotency-conflict", "The Idempotency-Key was used for another request"),
    errors.OrderEnded: (409, "conflict", "The order has ended"),
    errors.CancellationCosts: (409, "conflict", "Cancelling costs something"),
}

FOR_EVER = "private, max-age=31536000, immutable"


@router.get(
    PATH,
    summary="Booked and free hours by work centre and week, as JSON or as a chart",
    response_model=LoadBook,
    responses={200: {"content": {SVG: {"schema": {"type": "string"}}}}, **answers("invalid", "not-acceptable")},
)
def get_load(
    caller: Reader,
    tools: Tools,
    now: Now,
    weeks: Annotated[int, Query(ge=1, le=52, description="So many weeks from this one on.")] = 13,
    accept: Annotated[str, Header()] = JSON,
) -> Response:
    kind = max((JSON, SVG), key=lambda one: quality(accept, one))
    if quality(accept, kind) <= 0:
        raise Refused("not-acceptable", f"The book can be had as {JSON} or {SVG}.")
    book = load_book(tools, today=now.date(), weeks=weeks)
    headers = {"Vary": "Accept"}
    if kind == SVG:
        return Response(book.chart, media_type=SVG, headers=headers)
    return Response(book.model_dump_json(), media_type=JSON, headers=headers)


@router.put(
    PATH,
    summary="All that an ERP has booked; takes the place of what the same source said before",
    response_model=LoadBook,
    responses=answers("not-json", "invalid", "body-too-large", "unsupported-media-type"),
)
def replace_load(asked: LoadPut, caller: Planner, tools: Tools, now: Now) -> LoadBook:
    """The same bookings again make no other book. A booking that cannot be is named, and then none is booked."""
    put_load(asked, resources=tools, now=now)
    return load_book(tools, today=now.date(), weeks=13)


@router.get(
    "/v1/load/snapshots",
    summary="Snapshots of the book, newest first",
    response_model=LoadSnapshotPage,
    responses=answers("invalid", "gone"),
)
def list_load_snapshots(
    caller: ReaderOrSuite,
    tools: Tools,
    cursor: Cursor = None,
    limit: Most = 50,
) -> LoadSnapshotPage:
    found = BookStore(tools.database).heads(before=position_of(tools, "s", cursor), most=limit + 1)
    following = cursor_at(tools, "s", found[limit - 1].number) if len(found) > limit else None
    return LoadSnapshotPage(items=tuple(found[:limit]), next=following)


NOT_CHANGED: dict[int | str, dict[str, Any]] = {304: {"description": "It is as you have it"}}


@router.get(
    "/v1/load/snapshots/{number}",
    summary="One snapshot of the book; it never changes",
    response_model=LoadSnapshot,
    responses={**NOT_CHANGED, **answers("not-found", "invalid")},
)
def get_load_snapshot(
    number: Number,
    caller: ReaderOrSuite,
    tools: Tools,
    if_none_match: Annotated[str | None, Header(description="The ETag of what you have.")] = None,
) -> Response:
    digest, document = BookStore(tools.database).snapshot(number)
    headers = {"ETag": f'"{digest}"', "Cache-Control": FOR_EVER}
    if is_known(if_none_match, digest):
        return Response(status_code=304, headers=headers)
    return Response(document, media_type=JSON, headers=headers)


@router.get(
    "/v1/orders",
    summary="Orders that were accepted, newest first, each with how far it is",
    response_model=OrderPage,
    responses=answers("invalid", "gone"),
)
def list_orders(
    caller: Reader,
    tools: Tools,
    now: Now,
    cursor: Cursor = None,
    limit: Most = 50,
) -> OrderPage:
    store = BookStore(tools.database)
    found = store.orders(before=position_of(tools, "o", cursor, highest=2**63 - 1), most=limit + 1)
    numbers = [one.number for one in found[:limit]]
    held, actuals = store.bookings(orders=numbers), ActualStore(tools.database).standing(numbers)
    items = tuple(
        order_in_book(one, held[one.number], today=now.date()).model_copy(
            update={"progress": progress_in_short(one.order, actuals.get(one.number, {}), today=now.date())}
        )
        for one in found[:limit]
    )
    return OrderPage(items=items, next=cursor_at(tools, "o", found[limit - 1].position) if len(found) > limit else None)


@router.get(
    "/v1/orders/{number}",
    summary="One order: what it has booked week by week, and how far it is",
    response_model=OrderInBook,
    responses=answers("not-found", "invalid"),
)
def get_order(number: OrderNumber, caller: Reader, tools: Tools, now: Now) -> OrderInBook:
    store = BookStore(tools.database)
    stored, held = store.order(number), store.bookings(orders=[number])[number]
    actuals = ActualStore(tools.database).standing([number]).get(number, {})
    progress = progress_of(stored.order, actuals, today=now.date())
    return order_in_book(stored, held, today=now.date()).model_copy(update={"progress": progress})
