"""The book in PostgreSQL. Each method is one transaction; whoever changes the book holds its lock, so that snapshots follow one another."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import cast

from sqlalchemy import Connection, Row, text

from services.chassis.database import Database
from services.orders.domain.snapshot import Booking, snapshot_of
from services.orders.errors import OrderEnded, OrderUnknown, SnapshotUnknown
from shared_schemas.base import canonical_json
from shared_schemas.load import AcceptedOrder, Handover, LoadSnapshotHead, OrderState, monday_of

BOOK_LOCK = 7_460_216
"""Number of the advisory lock under which the book changes."""
ACCEPTED = "accepted"
"""The source of what was accepted here; no ERP may use it."""

Book = Callable[[AcceptedOrder, Mapping[tuple[str, date], int]], Mapping[tuple[str, date], int]]
"""Lays an order into weeks beside what is taken."""


@dataclass(frozen=True)
class StoredOrder:
    """An order that was accepted here, and what became of it."""

    number: str
    position: int
    order: AcceptedOrder
    state: OrderState
    state_at: datetime
    key_id: str


class BookStore:
    """The tables of the orders service."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def publish_first(self, *, now: datetime) -> None:
        """The empty book as snapshot 1, unless there is a snapshot."""
        with self._database.transaction() as connection:
            _lock(connection)
            if not _latest(connection):
                _publish(connection, now)

    def position(self) -> int:
        """Position of the last handover that was taken over, 0 before the first."""
        with self._database.transaction() as connection:
            return int(connection.execute(text("select coalesce(max(position), 0) from orders.orders")).scalar_one())

    def take_over(self, handovers: Sequence[Handover], book: Book, *, now: datetime) -> int:
        """Book what was accepted, and publish the book; how many of it were new. The same again changes nothing."""
        with self._database.transaction() as connection:
            _lock(connection)
            new = 0
            for handover in handovers:
                order = handover.accepted
                inserted = connection.execute(
                    text("insert into orders.orders (number, position, document, state, state_at, key_id) "
                         "values (:number, :position, :document, 'booked', :now, '') on conflict do nothing"),
                    {"number": order.quote_number, "position": handover.position, "document": canonical_json(order), "now": now},
                )  # fmt: skip
                if inserted.rowcount:
                    new += 1
                    weeks = book(order, _taken(connection))
                    _insert(connection, [
                        Booking(ACCEPTED, order.quote_number, centre, week, ticks, order.ship_date)
                        for (centre, week), ticks in weeks.items() if ticks
                    ])  # fmt: skip
            if new:
                _publish(connection, now)
            return new

    def end(self, number: str, state: OrderState, *, key_id: str, now: datetime) -> StoredOrder:
        """Cancel or complete an order: what it has booked is free again. The same again changes nothing.

        Raises `OrderUnknown`, and `OrderEnded` for an order that has ended the other way.
        """
        with self._database.transaction() as connection:
            _lock(connection)
            found = _order(connection, number)
            if found.state == "booked":
                connection.execute(
                    text("update orders.orders set state = :state, state_at = :now, key_id = :key where number = :number"),
                    {"state": state, "now": now, "key": key_id, "number": number},
                )
                connection.execute(
                    text("delete from orders.bookings where source = :source and order_name = :number"),
                    {"source": ACCEPTED, "number": number},
                )
                _publish(connection, now)
                return _order(connection, number)
            if found.state != state:
                raise OrderEnded(number, found.state, state)
            return found

    def put(self, source: str, check: Callable[[Mapping[tuple[str, date], int]], Iterable[Booking]], *, now: datetime) -> bool:
        """Put what a source has booked in the place of what it had; whether that made another book.

        `check` is given what all others have taken; it gives the bookings, or raises and nothing is booked.
        """
        with self._database.transaction() as connection:
            _lock(connection)
            bookings = list(check(_taken(connection, but=source)))
            connection.execute(text("delete from orders.bookings where source = :source"), {"source": source})
            _insert(connection, bookings)
            return _publish(connection, now)

    def order(self, number: str) -> StoredOrder:
        """One order; raises `OrderUnknown`."""
        with self._database.transaction() as connection:
            return _order(connection, number)

    def orders(self, *, before: int | None, most: int) -> list[StoredOrder]:
        """Orders, newest first, from below a position."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("select * from orders.orders where cast(:before as bigint) is null or position < :before "
                     "order by position desc limit :most"),
                {"before": before, "most": most},
            )  # fmt: skip
            return [_stored(row) for row in rows]

    def bookings(self, *, order: str | None = None) -> list[Booking]:
        """What is booked, by everybody or by one order that was accepted here."""
        with self._database.transaction() as connection:
            return _bookings(connection, order=order)

    def latest(self) -> LoadSnapshotHead:
        """The head of the newest snapshot."""
        return self.heads(before=None, most=1)[0]

    def heads(self, *, before: int | None, most: int) -> list[LoadSnapshotHead]:
        """Snapshots, newest first, from below a number."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("select number, digest, made_at, orders from orders.snapshots "
                     "where cast(:before as int) is null or number < :before order by number desc limit :most"),
                {"before": before, "most": most},
            )  # fmt: skip
            return [LoadSnapshotHead(**{**row._mapping, "made_at": row.made_at.astimezone(UTC)}) for row in rows]

    def snapshot(self, number: int) -> tuple[str, bytes]:
        """Digest and document of a snapshot; raises `SnapshotUnknown`."""
        with self._database.transaction() as connection:
            row = connection.execute(
                text("select digest, document from orders.snapshots where number = :n"), {"n": number}
            ).one_or_none()
            if row is None:
                raise SnapshotUnknown(number, _latest(connection))
            return row.digest, bytes(row.document)


def _lock(connection: Connection) -> None:
    connection.execute(text("select pg_advisory_xact_lock(:n)"), {"n": BOOK_LOCK})


def _latest(connection: Connection) -> int:
    return int(connection.execute(text("select coalesce(max(number), 0) from orders.snapshots")).scalar_one())


def _bookings(connection: Connection, *, order: str | None = None) -> list[Booking]:
    rows = connection.execute(
        text("select source, order_name, work_centre, week, ticks, ship_date from orders.bookings "
             "where cast(:order as text) is null or (source = :accepted and order_name = :order)"),
        {"order": order, "accepted": ACCEPTED},
    )  # fmt: skip
    return [Booking(row.source, row.order_name, row.work_centre, row.week, row.ticks, row.ship_date) for row in rows]


def _taken(connection: Connection, *, but: str | None = None) -> dict[tuple[str, date], int]:
    """What is taken of each work centre in each week, without what one source has booked."""
    rows = connection.execute(
        text("select work_centre, week, sum(ticks) as ticks from orders.bookings "
             "where cast(:but as text) is null or source <> :but group by work_centre, week"),
        {"but": but},
    )  # fmt: skip
    return {(row.work_centre, row.week): int(row.ticks) for row in rows}


def _insert(connection: Connection, bookings: Sequence[Booking]) -> None:
    if bookings:
        connection.execute(
            text("insert into orders.bookings (source, order_name, work_centre, week, ticks, ship_date) "
                 "values (:source, :order, :work_centre, :week, :ticks, :ship_date)"),
            [vars(one) for one in bookings],
        )  # fmt: skip


def _publish(connection: Connection, now: datetime) -> bool:
    """The book as the next snapshot, unless it is that of the newest; whether it made one."""
    number = _latest(connection) + 1
    made = snapshot_of(_bookings(connection), first_week=monday_of(now.astimezone(UTC).date()), number=number, now=now)
    newest = connection.execute(text("select digest from orders.snapshots where number = :n"), {"n": number - 1}).scalar()
    if newest == made.digest:
        return False
    connection.execute(
        text(
            "insert into orders.snapshots (number, digest, made_at, orders, document) values (:number, :digest, :now, :orders, :document)"
        ),
        {"number": number, "digest": made.digest, "now": now, "orders": len(made.orders), "document": canonical_json(made)},
    )
    return True


def _order(connection: Connection, number: str) -> StoredOrder:
    row = connection.execute(text("select * from orders.orders where number = :n"), {"n": number}).one_or_none()
    if row is None:
        raise OrderUnknown(number)
    return _stored(row)


def _stored(row: Row[tuple[object, ...]]) -> StoredOrder:
    return StoredOrder(
        number=str(row.number),
        position=int(row.position),
        order=AcceptedOrder.model_validate_json(bytes(row.document)),
        state=cast(OrderState, row.state),
        state_at=row.state_at,
        key_id=str(row.key_id),
    )
