"""What was reported of operations, in PostgreSQL: nothing is ever changed, the last entry of an operation is the one that counts."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime

from sqlalchemy import Connection, text

from services.chassis import audit
from services.chassis.database import Database
from services.orders.errors import IdempotencyKeyReused
from services.orders.store.events import insert_event, told_ship_date
from services.orders.store.repository import StoredOrder, order_in
from shared_schemas.actuals import Actual, Actuals, KeptActual
from shared_schemas.base import canonical_json
from shared_schemas.order_events import Rescheduling

LAST = "select distinct on (number, operation) number, operation, document from orders.actuals"


@dataclass(frozen=True)
class Reported:
    """An order, and the entries of its operations that stand."""

    stored: StoredOrder
    actuals: dict[str, Actual]


@dataclass(frozen=True)
class Taken:
    """What became of a report."""

    reported: Reported
    new: int
    moved: bool = False
    """Whether the day on which the order is expected to ship is another one than was told."""


Forecast = Callable[[Reported], date]
"""The day on which an order will ship by what was reported of it."""


class ActualStore:
    """The tables of what was reported."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def take(
        self, number: str, asked: Actuals, check: Callable[[StoredOrder], None], forecast: Forecast, *, key_id: str, idempotency_key: str | None,
        now: datetime,
    ) -> Taken:  # fmt: skip
        """Keep what is new in a report, all of it or nothing, with an event where it moves the day that `forecast` says. `check` raises for what cannot be.

        Raises `OrderUnknown`, and `IdempotencyKeyReused` for a key that came with another report.
        """
        with self._database.transaction() as connection:
            # Whoever reports of an order does so one after the other.
            stored = order_in(connection, number, lock=True)
            check(stored)
            standing = standing_in(connection, [number]).get(number, {})
            if idempotency_key is not None and not _first_use(connection, number, asked, key_id, idempotency_key, now):
                return Taken(Reported(stored, standing), 0)
            new = [one for one in asked.entries if standing.get(one.operation) != one]
            for one in new:
                connection.execute(
                    text("insert into orders.actuals (number, operation, document, at, key_id) values (:n, :operation, :document, :now, :key)"),
                    {"n": number, "operation": one.operation, "document": canonical_json(one), "now": now, "key": key_id},
                )  # fmt: skip
            reported = Reported(stored, standing | {one.operation: one for one in new})
            moved = bool(new) and _moved(connection, stored, forecast(reported), now)
            if new:
                audit.record(connection, action="order.actuals", subject=number, at=now, details={"entries": len(new)})
            return Taken(reported, len(new), moved)

    def standing(self, numbers: Sequence[str]) -> dict[str, dict[str, Actual]]:
        """The entries that stand, by order and operation; orders without any are left out."""
        with self._database.transaction() as connection:
            return standing_in(connection, numbers)

    def kept(self, number: str) -> tuple[KeptActual, ...]:
        """All that was said of an order, oldest first; raises `OrderUnknown`."""
        with self._database.transaction() as connection:
            order_in(connection, number)
            rows = connection.execute(
                text("select document, at, position = max(position) over (partition by operation) as stands from orders.actuals "
                     "where number = :n order by position"),
                {"n": number},
            )  # fmt: skip
            return tuple(
                KeptActual(at=row.at.astimezone(UTC), stands=row.stands, entry=Actual.model_validate_json(bytes(row.document)))
                for row in rows
            )

    def reported(self, *, most: int) -> list[Reported]:
        """The newest orders of which anything was reported, newest first."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("select number from orders.orders o where exists (select 1 from orders.actuals a where a.number = o.number) "
                     "order by position desc limit :most"),
                {"most": most},
            )  # fmt: skip
            numbers = [str(row.number) for row in rows]
            standing = standing_in(connection, numbers)
            return [Reported(order_in(connection, number), standing[number]) for number in numbers]


def _moved(connection: Connection, stored: StoredOrder, expected: date, now: datetime) -> bool:
    """Write down that an order that is under way is expected on another day than was told, and say whether it is."""
    told = told_ship_date(connection, stored.number, stored.order.ship_date)
    if stored.state != "booked" or told == expected:
        return False
    moved = Rescheduling(old_date=told, new_date=expected, cause="work_reported")
    insert_event(connection, "rescheduled", stored.number, stored.order.revision, at=now, rescheduled=moved)
    return True


def standing_in(connection: Connection, numbers: Iterable[str]) -> dict[str, dict[str, Actual]]:
    """The entries that stand, by order and operation; orders without any are left out."""
    rows = connection.execute(
        text(f"{LAST} where number = any(:numbers) order by number, operation, position desc"), {"numbers": list(numbers)}
    )
    found: dict[str, dict[str, Actual]] = {}
    for row in rows:
        found.setdefault(row.number, {})[row.operation] = Actual.model_validate_json(bytes(row.document))
    return found


def _first_use(connection: Connection, number: str, asked: Actuals, key_id: str, idempotency_key: str, now: datetime) -> bool:
    """Write down what a key was used for; whether it is new. Raises `IdempotencyKeyReused` when it came with another report."""
    digest = hashlib.sha256(b"".join(_parts(number, asked))).hexdigest()
    inserted = connection.execute(
        text("insert into orders.actual_requests (key_id, idempotency_key, digest, at) values (:key, :name, :digest, :now) "
             "on conflict do nothing"),
        {"key": key_id, "name": idempotency_key, "digest": digest, "now": now},
    )  # fmt: skip
    if inserted.rowcount:
        return True
    known = connection.execute(
        text("select digest from orders.actual_requests where key_id = :key and idempotency_key = :name"),
        {"key": key_id, "name": idempotency_key},
    ).scalar_one()
    if known != digest:
        raise IdempotencyKeyReused(idempotency_key)
    return False


def _parts(number: str, asked: Actuals) -> Iterator[bytes]:
    yield number.encode() + b"\n"
    yield canonical_json(asked)
