"""A snapshot of the book: the same book gives the same bytes, whoever booked first."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from pydantic import TypeAdapter

from services.orders.domain.book import TICKS_PER_H
from shared_schemas.load import MOST_WEEKS, LoadSnapshot, OrderLoad

ORDERS = TypeAdapter(tuple[OrderLoad, ...])
"""All orders of a book, read and written at once: one by one it takes three times as long."""


@dataclass(frozen=True, order=True)
class Booking:
    """What one order of one source takes of one work centre in the week of a Monday."""

    source: str
    order: str
    work_centre: str
    week: date
    ticks: int
    ship_date: date | None = None


def orders_in(bookings: Iterable[Booking], *, first_week: date) -> tuple[OrderLoad, ...]:
    """The orders of a book from a week on, in the order of their names; what lies before is over. An order ships on the last day it names."""
    held: dict[tuple[str, str], dict[str, dict[int, int]]] = {}
    ships: dict[tuple[str, str], date] = {}
    for one in bookings:
        week = min((one.week - first_week).days // 7, MOST_WEEKS - 1)
        if week < 0 or not one.ticks:
            continue
        name = (one.order, one.source)
        weeks = held.setdefault(name, {}).setdefault(one.work_centre, {})
        weeks[week] = weeks.get(week, 0) + one.ticks
        if one.ship_date is not None:
            ships[name] = max(one.ship_date, ships.get(name, one.ship_date))
    return ORDERS.validate_python([
        {
            "order": order,
            "source": source,
            "ship_date": ships.get((order, source)),
            "work_centres": [
                {"work_centre": centre, "booked_h": [weeks.get(week, 0) / TICKS_PER_H for week in range(max(weeks) + 1)]}
                for centre, weeks in sorted(centres.items())
            ],
        }
        for (order, source), centres in sorted(held.items())
    ])  # fmt: skip


def digest_of(first_week: date, orders: tuple[OrderLoad, ...]) -> str:
    """What a book is recognised by: the SHA-256 of its first week and its orders in canonical JSON."""
    digest = hashlib.sha256(b'{"first_week":"%s","orders":' % first_week.isoformat().encode())
    digest.update(ORDERS.dump_json(orders, by_alias=True) + b"}")
    return digest.hexdigest()


def snapshot_of(bookings: Iterable[Booking], *, first_week: date, number: int, now: datetime) -> LoadSnapshot:
    """The book at a moment."""
    orders = orders_in(bookings, first_week=first_week)
    return LoadSnapshot(number=number, digest=digest_of(first_week, orders), made_at=now, first_week=first_week, orders=orders)
