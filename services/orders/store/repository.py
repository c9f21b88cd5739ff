"""The book in PostgreSQL. Each method is one transaction; whoever changes the book holds its lock, so that snapshots follow one another."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any, cast

from sqlalchemy import Connection, Row, text

from services.chassis import audit
from services.chassis.database import Database
from services.chassis.epoch import first_free
from services.orders.domain.snapshot import Booking, snapshot_of
from services.orders.errors import OrderEnded, OrderUnknown, SnapshotUnknown
from shared_schemas.base import canonical_json
from shared_schemas.load import AcceptedOrder, Handover, LoadSnapshotHead, OrderState, monday_of

BOOK_LOCK = 7_460_216
"""Number of the advisory lock under which the book changes."""
ACCEPTED = "accepted"
"""The source of what was accepted here; no ERP may use it."""

BOOKINGS = "select source, order_name, work_centre, week, ticks, ship_date from orders.bookings"

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
            return int(connection.execute(text("select position from orders.taken_over")).scalar_one())

    def take_over(self, handovers: Sequence[Handover], book: Book, *, now: datetime) -> int:
        """Book what was accepted, and publish the book; how many of it were new. The same again changes nothing."""
        with self._database.transaction() as connection:
            _lock(connection)
            new = [handover.accepted for handover in handovers if _insert_order(connection, handover, now)]
            taken = _taken(connection) if new else {}
            bookings: list[Booking] = []
            for order in new:
                for (centre, week), ticks in book(order, taken).items():
                    taken[centre, week] = taken.get((centre, week), 0) + ticks
                    bookings.append(Booking(ACCEPTED, order.quote_number, centre, week, ticks, order.ship_date))
            _insert(connection, bookings)
            connection.execute(
                text("update orders.taken_over set position = greatest(position, :position)"),
                {"position": max((handover.position for handover in handovers), default=0)},
            )
            if new:
                _publish(connection, now)
            return len(new)

    def end(self, number: str, state: OrderState, *, key_id: str, now: datetime) -> StoredOrder:
        """Cancel or complete an order: what it has booked is free again. The same again changes nothing.

        Raises `OrderUnknown`, and `OrderEnded` for an order that has ended the other way.
        """
        with self._database.transaction() as connection:
            _lock(connection)
            found = order_in(connection, number)
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
                action = "order.cancel" if state == "cancelled" else "order.complete"
                audit.record(connection, action=action, subject=number, at=now)
                return order_in(connection, number)
            if found.state != state:
                raise OrderEnded(number, found.state, state)
            return found

    def put(self, source: str, check: Callable[[Mapping[tuple[str, date], int]], Iterable[Booking]], *, now: datetime) -> bool:
        """Put what a source has booked in the place of what it had; whether that made another book. The same again changes nothing.

        `check` is given what all others have taken; it gives the bookings, or raises and nothing is booked.
        """
        with self._database.transaction() as connection:
            _lock(connection)
            bookings = list(check(_taken(connection, but=source)))
            rows = connection.execute(text(f"{BOOKINGS} where source = :source"), {"source": source})
            if set(map(_booking, rows)) == set(bookings):
                return False
            connection.execute(text("delete from orders.bookings where source = :source"), {"source": source})
            _insert(connection, bookings)
            return _publish(connection, now)

    def order(self, number: str) -> StoredOrder:
        """One order; raises `OrderUnknown`."""
        with self._database.transaction() as connection:
            return order_in(connection, number)

    def orders(self, *, before: int | None, most: int) -> list[StoredOrder]:
        """Orders, newest first, from below a position."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("select * from orders.orders where cast(:before as bigint) is null or position < :before "
                     "order by position desc limit :most"),
                {"before": before, "most": most},
            )  # fmt: skip
            return [_stored(row) for row in rows]

    def bookings(self, *, orders: Sequence[str]) -> dict[str, list[Booking]]:
        """What orders that were accepted here have booked, by their numbers."""
        held: dict[str, list[Booking]] = {number: [] for number in orders}
        with self._database.transaction() as connection:
            rows = connection.execute(
                text(f"{BOOKINGS} where source = :accepted and order_name = any(:orders)"),
                {"accepted": ACCEPTED, "orders": list(orders)},
            )
            for one in map(_booking, rows):
                held[one.order].append(one)
        return held

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

    def forget_snapshots(self, *, before: datetime, most: int = 1000) -> int:
        """Forget snapshots made before a moment, oldest first, but not the newest; how many. The trigger keeps those of the last sixty days."""
        with self._database.transaction() as connection:
            connection.execute(text("set local orders.forgetting = 'on'"))
            return connection.execute(
                text("delete from orders.snapshots where number = any(array(select number from orders.snapshots where made_at < :before "
                     "and number < (select max(number) from orders.snapshots) order by number limit :most))"),
                {"before": before, "most": most},
            ).rowcount  # fmt: skip

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


def _booking(row: Row[Any]) -> Booking:
    return Booking(row.source, row.order_name, row.work_centre, row.week, row.ticks, row.ship_date)


def _insert_order(connection: Connection, handover: Handover, now: datetime) -> bool:
    """Write down what was accepted; whether it is new."""
    order = handover.accepted
    inserted = connection.execute(
        text("insert into orders.orders (number, position, document, state, state_at, key_id) "
             "values (:number, :position, :document, 'booked', :now, '') on conflict (number) do nothing"),
        {"number": order.quote_number, "position": handover.position, "document": canonical_json(order), "now": now},
    )  # fmt: skip
    return inserted.rowcount == 1


def _taken(connection: Connection, *, but: str | None = None) -> dict[tuple[str, date], int]:
    """What is taken of each work centre in each week, without what one source has booked."""
    rows = connection.execute(
        text("select work_centre, week, sum(ticks) as ticks from orders.bookings "
             "where cast(:but as text) is null or source <> :but group by work_centre, week"),
        {"but": but},
    )  # fmt: skip
    return {(row.work_centre, row.week): int(row.ticks) for row in rows}


def _insert(connection: Connection, bookings: Iterable[Booking]) -> None:
    columns = {name: [getattr(one, name) for one in bookings if one.ticks] for name in Booking.__dataclass_fields__}
    connection.execute(
        text("insert into orders.bookings (source, order_name, work_centre, week, ticks, ship_date) "
             "select * from unnest(cast(:source as text[]), cast(:order as text[]), cast(:work_centre as text[]), "
             "cast(:week as date[]), cast(:ticks as bigint[]), cast(:ship_date as date[]))"),
        columns,
    )  # fmt: skip


def _publish(connection: Connection, now: datetime) -> bool:
    """The book as the next snapshot, unless it is that of the newest; whether it made one."""
    latest = _latest(connection)
    number = first_free(connection, latest)
    first_week = monday_of(now.astimezone(UTC).date())
    rows = connection.execute(text(f"{BOOKINGS} where week >= :first"), {"first": first_week})
    made = snapshot_of(map(_booking, rows), first_week=first_week, number=number, now=now)
    newest = connection.execute(text("select digest from orders.snapshots where number = :n"), {"n": latest}).scalar()
    if newest == made.digest:
        return False
    connection.execute(
        text(
            "insert into orders.snapshots (number, digest, made_at, orders, document) values (:number, :digest, :now, :orders, :document)"
        ),
        {"number": number, "digest": made.digest, "now": now, "orders": len(made.orders), "document": canonical_json(made)},
    )
    return True


def order_in(connection: Connection, number: str) -> StoredOrder:
    """One order; raises `OrderUnknown`."""
    row = connection.execute(text("select * from orders.orders where number = :n"), {"n": number}).one_or_none()
    if row is None:
        raise OrderUnknown(number)
    return _stored(row)


def _stored(row: Row[Any]) -> StoredOrder:
    return StoredOrder(
        number=str(row.number),
        position=int(row.position),
        order=AcceptedOrder.model_validate_json(bytes(row.document)),
        state=cast(OrderState, row.state),
        state_at=row.state_at,
        key_id=str(row.key_id),
    )
