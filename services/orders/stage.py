"""What the orders service does when its doorbell rings, and every few seconds anyway: it takes over what was accepted."""

from __future__ import annotations

import logging
from datetime import UTC, datetime, timedelta
from functools import partial

import httpx

from services.chassis.between_services import page_after, ring
from services.chassis.rate_source import RatesUnavailable
from services.chassis.resources import Resources
from services.orders.domain.book import Capacity, booked_in
from services.orders.store.repository import BookStore
from shared_schemas.load import Handover, HandoverPage, monday_of
from shared_schemas.pipeline import FORGET_LOAD_TASK, TAKE_IN_TASK, TAKE_OVER_TASK

log = logging.getLogger(__name__)

MOST_AT_ONCE = 50


def handed_over(resources: Resources, *, after: int) -> tuple[Handover, ...]:
    """What quoting has handed over since a position; raises `httpx.TransportError` when it does not answer."""
    origin = resources.settings.quoting_url
    return page_after(
        "/v1/handovers", HandoverPage, of="quoting", origin=origin, after=after, most=MOST_AT_ONCE, resources=resources
    ).items


def take_over(resources: Resources) -> None:
    """Book every order that was accepted and is not in the book, and publish the book.

    A fault of the way there is logged only: the next beat asks again from the same position, and nothing is lost.
    """
    store = BookStore(resources.database)
    while True:
        try:
            handovers = handed_over(resources, after=store.position())
            if not handovers:
                return
            capacity = Capacity(resources.rates.latest().rates)
        except (httpx.TransportError, RatesUnavailable) as fault:
            log.warning("nothing taken over", extra={"why": str(fault)})
            return
        now = datetime.now(UTC)
        new = store.take_over(handovers, partial(booked_in, capacity, first_week=monday_of(now.date())), now=now)
        log.info("orders taken over", extra={"orders": new})
        for change in (one.accepted for one in handovers if one.accepted.changes_order is not None):
            ring(TAKE_IN_TASK, change.quote_number, resources)


def forget_what_is_over(resources: Resources) -> None:
    """Forget snapshots of the book that are older than the settings keep them."""
    before = datetime.now(UTC) - timedelta(days=resources.settings.snapshots_kept_days)
    gone = BookStore(resources.database).forget_snapshots(before=before)
    if gone:
        log.info("snapshots forgotten", extra={"snapshots": gone})


PERIODIC = {TAKE_OVER_TASK: take_over, FORGET_LOAD_TASK: forget_what_is_over}
