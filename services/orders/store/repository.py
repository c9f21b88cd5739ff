"""The book in PostgreSQL. Each method is one transaction; whoever changes the book holds its lock, so that snapshots follow one another."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any, cast

from sqlalchemy import Connection, Row, text

from services.chassis import audit
from services.chassis.database import Database
from services.chassis.epoch import first_free
from services.orders.domain.snapshot import Booking, snapshot_of
from services.orders.errors import OrderUnknown, SnapshotUnknown
from services.orders.store.events import insert_event, is_told, told_ship_date
from shared_schemas.base import canonical_json
from shared_schemas.load import ACCEPTED, AcceptedOrder, Handover, LoadSnapshotHead, OrderState, monday_of
from shared_schemas.order_events import OrderCancellation, Rescheduling

BOOK_LOCK = 7_460_216
"""Number of the advisory lock under which the book changes."""

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
    ending: OrderCancellation | None = None
    """Of one that was cancelled, how."""


class BookStore:
    """The tables of the orders service."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def publish_first(self, *, now: datetime) -> None:
        """The empty book as snapshot 1, unless there is a snapshot."""
        with self._database.transaction() as connection:
            lock_book(connection)
            if not _latest(connection):
                publish_book(connection, now)

    def position(self) -> int:
        """Position of the last handover that was taken over, 0 before the first."""
        with self._database.transaction() as connection:
            return int(connection.execute(text("select position from orders.taken_over")).scalar_one())

    def take_over(self, handovers: Sequence[Handover], book: Book, *, now: datetime) -> int:
        """Book what was accepted, and publish the book; how many of it were new. The same again changes nothing.

        A change of an order takes the place of what it had booked, and tells the day to which that moved it.
        """
        with self._database.transaction() as connection:
            lock_book(connection)
            _lock_changed(connection, handovers)
            new: dict[str, AcceptedOrder] = {}
            for handover in handovers:
                order = handover.accepted
                if _insert_order(connection, handover, now):
                    new[order.quote_number] = order
                elif changed := _changed(connection, order, now):
                    new[order.quote_number] = changed
            taken = _taken(connection) if new else {}
            bookings: list[Booking] = []
            for order in new.values():
                for (centre, week), ticks in book(order, taken).items():
                    taken[centre, week] = taken.get((centre, week), 0) + ticks
                    bookings.append(Booking(ACCEPTED, order.quote_number, centre, week, ticks, order.ship_date))
            _insert(connection, bookings)
            connection.execute(
                text("update orders.taken_over set position = greatest(position, :position)"),
                {"position": max((handover.position for handover in handovers), default=0)},
            )
            if new:
                publish_book(connection, now)
            return len(new)

    def put(self, source: str, check: Callable[[Mapping[tuple[str, date], int]], Iterable[Booking]], *, now: datetime) -> bool:
        """Put what a source has booked in the place of what it had; whether that made another book. The same again changes nothing.

        `check` is given what all others have taken; it gives the bookings, or raises and nothing is booked.
        """
        with self._database.transaction() as connection:
            lock_book(connection)
            bookings = list(check(_taken(connection, but=source)))
            rows = connection.execute(text(f"{BOOKINGS} where source = :source"), {"source": source})
            if set(map(_booking, rows)) == set(bookings):
                return False
            connection.execute(text("delete from orders.bookings where source = :source"), {"source": source})
            _insert(connection, bookings)
            return publish_book(connection, now)

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


def lock_book(connection: Connection) -> None:
    """Let nobody else change the book before this transaction ends."""
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


def _lock_changed(connection: Connection, handovers: Iterable[Handover]) -> None:
    """Let nobody report of the orders that change meanwhile; all of them now, as other locks are taken for each."""
    numbers = [one.accepted.quote_number for one in handovers if one.accepted.changes_order is not None]
    connection.execute(
        text("select 1 from orders.orders where number = any(:numbers) order by number for update"), {"numbers": numbers}
    )


def _changed(connection: Connection, order: AcceptedOrder, now: datetime) -> AcceptedOrder | None:
    """Put a change of an order in the place of the order, with nothing booked; what is to be booked, `None` where it changes nothing.

    A change of an order that has ended meanwhile is cancelled itself. A change does not begin the days anew in which cancelling costs nothing.
    """
    stored = order_in(connection, order.quote_number, lock=True)
    if order.changes_order is None or order.revision <= stored.order.revision:
        return None
    if stored.state != "booked":
        _refuse_change(connection, stored, order, now)
        return None
    terms, before = order.cancellation, stored.order.cancellation
    if terms is not None and before is not None:
        free_until = min(terms.free_until, before.free_until)
        order = order.model_copy(update={"cancellation": terms.model_copy(update={"free_until": free_until})})
    connection.execute(
        text("update orders.orders set document = :document where number = :number"),
        {"document": canonical_json(order), "number": stored.number},
    )
    free_bookings(connection, stored.number)
    told = told_ship_date(connection, stored.number, stored.order.ship_date)
    if told != order.ship_date:
        moved = Rescheduling(old_date=told, new_date=order.ship_date, cause="change_order")
        insert_event(connection, "rescheduled", stored.number, order.revision, at=now, rescheduled=moved)
    audit.record(connection, action="order.change", subject=stored.number, at=now, details={"revision": order.revision})
    return order


def _refuse_change(connection: Connection, stored: StoredOrder, order: AcceptedOrder, now: datetime) -> None:
    if not is_told(connection, "cancelled", stored.number, order.revision):
        note = f"The order was {stored.state} before this change of it came."
        refused = OrderCancellation(at=now, reason="other", note=note, charge=Decimal(0), currency=order.currency)
        insert_event(connection, "cancelled", stored.number, order.revision, at=now, cancellation=refused)


def free_bookings(connection: Connection, number: str) -> None:
    """Nothing is booked of an order any more."""
    connection.execute(
        text("delete from orders.bookings where source = :source and order_name = :number"), {"source": ACCEPTED, "number": number}
    )


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


def publish_book(connection: Connection, now: datetime) -> bool:
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


def order_in(connection: Connection, number: str, *, lock: bool = False) -> StoredOrder:
    """One order, which nobody else changes before this transaction ends if it is locked; raises `OrderUnknown`."""
    select = "select * from orders.orders where number = :n" + (" for update" if lock else "")  # nosec B608  texts of this module
    row = connection.execute(text(select), {"n": number}).one_or_none()
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
        ending=None if row.ending is None else OrderCancellation.model_validate_json(bytes(row.ending)),
    )
