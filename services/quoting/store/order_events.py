"""What happened to orders, taken in once: an entry of the feed for each event, and how far they were read, in one transaction."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, text

from services.chassis.database import Database
from services.quoting.store.feed import insert_entry, lock_feed
from shared_schemas.order_events import OrderEvent

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class OrderEnd:
    """That the order of a quote was cancelled or completed."""

    state: str
    at: datetime


class OrderEventInbox:
    """Events of orders as this service has taken them in."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def position(self) -> int:
        """Id of the last event that was taken in, 0 before the first."""
        with self._database.transaction() as connection:
            return _position(connection)

    def take_in(self, events: Sequence[OrderEvent]) -> int:
        """Write what these events tell into the feed; how many were new. The same again changes nothing."""
        with self._database.transaction() as connection:
            lock_feed(connection)
            position = _position(connection)
            new = [event for event in events if event.id > position]
            for event in new:
                _take(connection, event)
            connection.execute(
                text("update quoting.order_events_taken set position = greatest(position, :last)"),
                {"last": max((event.id for event in new), default=0)},
            )
            return len(new)


def end_of_order(connection: Connection, quote_number: str) -> OrderEnd | None:
    """How the order of a quote ended, as far as this service has heard; `None` of one that has not."""
    row = connection.execute(
        text("select state, at from quoting.order_ends where quote_number = :n"), {"n": quote_number}
    ).one_or_none()
    return None if row is None else OrderEnd(row.state, row.at)


def _position(connection: Connection) -> int:
    return int(connection.execute(text("select position from quoting.order_events_taken")).scalar_one())


def _take(connection: Connection, event: OrderEvent) -> None:
    row_number = connection.execute(
        text("select q.number from quoting.quotes q join quoting.decisions d on d.number = q.number and d.decision = 'accepted' "
             "where q.quote_number = :order and q.revision = :revision"),
        {"order": event.order, "revision": event.revision},
    ).scalar()  # fmt: skip
    if row_number is None:
        log.warning("an event of an order that is not known here", extra={"number": event.order, "event": event.id})
        return
    if event.type != "rescheduled":
        connection.execute(
            text("insert into quoting.order_ends (quote_number, state, at) values (:order, :type, :at) on conflict do nothing"),
            event.model_dump(include={"order", "type", "at"}),
        )
    if event.type != "completed":
        insert_entry(
            connection, event.type, row_number, at=event.at, cancellation=event.cancellation, rescheduled=event.rescheduled
        )
