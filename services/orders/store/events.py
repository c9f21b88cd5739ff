"""Events of orders in PostgreSQL: each is written in the transaction of what it tells of, and never changed."""

from __future__ import annotations

from datetime import UTC, date, datetime

from sqlalchemy import Connection, text

from services.chassis.database import Database
from services.chassis.epoch import current_epoch
from shared_schemas.base import canonical_json
from shared_schemas.order_events import OrderCancellation, OrderEvent, OrderEventType, Rescheduling

EVENT_LOCK = 7_460_217
"""Number of the advisory lock under which ids are given out, so that they become visible in their order. It is taken after the locks of
the book and of an order, and before that of the audit log."""


def insert_event(
    connection: Connection, kind: OrderEventType, order: str, revision: int, *, at: datetime,
    cancellation: OrderCancellation | None = None, rescheduled: Rescheduling | None = None,
) -> None:  # fmt: skip
    """Write what happened to an order in the transaction in which it happens."""
    connection.execute(text("select pg_advisory_xact_lock(:n)"), {"n": EVENT_LOCK})
    event = OrderEvent(
        id=int(connection.execute(text("select nextval('orders.event_ids')")).scalar_one()),
        epoch=current_epoch(connection).token,
        type=kind,
        at=at.astimezone(UTC),
        order=order,
        revision=revision,
        cancellation=cancellation,
        rescheduled=rescheduled,
    )
    connection.execute(
        text("insert into orders.events (id, epoch, type, at, number, revision, document) "
             "values (:id, :epoch, :type, :at, :order, :revision, :document)"),
        {**event.model_dump(include={"id", "epoch", "type", "at", "order", "revision"}), "document": canonical_json(event)},
    )  # fmt: skip


def is_told(connection: Connection, kind: OrderEventType, order: str, revision: int) -> bool:
    """Whether there is an event of that type of that revision of an order."""
    found = connection.execute(
        text("select 1 from orders.events where number = :order and revision = :revision and type = :kind"),
        {"order": order, "revision": revision, "kind": kind},
    )
    return found.first() is not None


def told_ship_date(connection: Connection, order: str, promised: date) -> date:
    """The last day on which an order was said to ship: that of its last rescheduling, or the one promised."""
    document = connection.execute(
        text("select document from orders.events where number = :order and type = 'rescheduled' order by id desc limit 1"),
        {"order": order},
    ).scalar()
    told = None if document is None else OrderEvent.model_validate_json(bytes(document)).rescheduled
    return promised if told is None else told.new_date


class Events:
    """Everything that happened to orders."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def after(self, event_id: int, *, most: int) -> list[bytes]:
        """Documents of events from above an id, oldest first."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("select document from orders.events where id > :after order by id limit :most"), {"after": event_id, "most": most}
            )  # fmt: skip
            return [bytes(row.document) for row in rows]
