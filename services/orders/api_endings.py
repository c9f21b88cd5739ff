"""Routes of how orders end, and of the events by which the rest of the suite hears what became of them."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Response

from services.chassis.json_bodies import CheckedRoute
from services.chassis.web import Tools, answers
from services.orders.api_parts import JSON, Erp, Most, Now, OrderNumber, SalesOrErp, Suite
from services.orders.ending import cancel, complete
from services.orders.service import order_in_book
from services.orders.store.events import Events
from shared_schemas.load import OrderInBook
from shared_schemas.order_events import CancellationRequest, OrderEventPage

router = APIRouter(route_class=CheckedRoute)


@router.post(
    "/v1/orders/{number}/cancellation",
    summary="Cancel an order by its terms: its hours are free again",
    response_model=OrderInBook,
    responses=answers("not-json", "not-found", "conflict", "invalid", "body-too-large"),
)
def cancel_order(
    number: OrderNumber, caller: SalesOrErp, tools: Tools, now: Now, asked: CancellationRequest | None = None
) -> OrderInBook:
    """Where that costs something, nothing is cancelled before the amount is sent back as `agreed_charge`; the answer names it."""
    return order_in_book(cancel(number, asked, key_id=caller.key_id, now=now, resources=tools), (), today=now.date())


@router.post(
    "/v1/orders/{number}/completion",
    summary="An order is completed: its hours are free again",
    response_model=OrderInBook,
    responses=answers("not-found", "conflict", "invalid"),
)
def complete_order(number: OrderNumber, caller: Erp, tools: Tools, now: Now) -> OrderInBook:
    """Telling it again changes nothing."""
    return order_in_book(complete(number, key_id=caller.key_id, now=now, resources=tools), (), today=now.date())


@router.get(
    "/v1/order-events",
    summary="What became of orders, oldest first, for the service that tells of it",
    response_model=OrderEventPage,
    responses=answers("invalid"),
)
def list_order_events(
    caller: Suite,
    tools: Tools,
    after: Annotated[int, Query(ge=0, le=2**63 - 1, description="The id up to which everything is taken in.")] = 0,
    limit: Most = 50,
) -> Response:
    items = b",".join(Events(tools.database).after(after, most=limit))
    return Response(b'{"items":[' + items + b"]}", media_type=JSON)
