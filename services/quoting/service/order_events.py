"""What happened to orders, taken in when the doorbell rings, and every few seconds anyway: the feed of estimates tells of it."""

from __future__ import annotations

import logging

import httpx
from pydantic import ValidationError

from services.chassis.between_services import page_after
from services.chassis.resources import Resources
from services.quoting.store.order_events import OrderEventInbox
from shared_schemas.order_events import OrderEvent, OrderEventPage

log = logging.getLogger(__name__)

MOST_AT_ONCE = 50


def events_after(resources: Resources, *, after: int) -> tuple[OrderEvent, ...]:
    """What orders tells since an event; raises `httpx.TransportError` when it does not answer."""
    origin = resources.settings.orders_url
    return page_after(
        "/v1/order-events", OrderEventPage, of="orders", origin=origin, after=after, most=MOST_AT_ONCE, resources=resources
    ).items


def take_in(resources: Resources) -> None:
    """Take in every event of orders that was not, each with its entry of the feed.

    A fault of the way there is logged only: the next beat asks again from the same event, and nothing is lost.
    """
    if not resources.settings.orders_url:
        return
    inbox = OrderEventInbox(resources.database)
    while True:
        try:
            events = events_after(resources, after=inbox.position())
        except (httpx.TransportError, ValidationError) as fault:
            log.warning("no events of orders taken in", extra={"why": str(fault)})
            return
        if not events:
            return
        log.info("events of orders taken in", extra={"events": inbox.take_in(events)})
