"""A snapshot of the book: the same book gives the same bytes, whoever booked first."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from services.orders.domain.book import hours_of
from shared_schemas.base import canonical_json
from shared_schemas.load import CentreLoad, LoadSnapshot, OrderLoad


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
    """The orders of a book from a week on, in the order of their names; what lies before is over."""
    held: dict[tuple[str, str], dict[str, dict[int, int]]] = {}
    ships: dict[tuple[str, str], date | None] = {}
    for one in bookings:
        week = (one.week - first_week).days // 7
        if week < 0 or not one.ticks:
            continue
        weeks = held.setdefault((one.order, one.source), {}).setdefault(one.work_centre, {})
        weeks[week] = weeks.get(week, 0) + one.ticks
        ships[one.order, one.source] = one.ship_date
    return tuple(
        OrderLoad(
            order=order,
            source=source,
            ship_date=ships[order, source],
            work_centres=tuple(
                CentreLoad(work_centre=centre, booked_h=tuple(hours_of(weeks.get(week, 0)) for week in range(max(weeks) + 1)))
                for centre, weeks in sorted(centres.items())
            ),
        )
        for (order, source), centres in sorted(held.items())
    )


def digest_of(first_week: date, orders: tuple[OrderLoad, ...]) -> str:
    """What a book is recognised by: the SHA-256 of its first week and its orders in canonical JSON."""
    digest = hashlib.sha256(first_week.isoformat().encode())
    for order in orders:
        digest.update(canonical_json(order))
    return digest.hexdigest()


def snapshot_of(bookings: Iterable[Booking], *, first_week: date, number: int, now: datetime) -> LoadSnapshot:
    """The book at a moment."""
    orders = orders_in(bookings, first_week=first_week)
    return LoadSnapshot(number=number, digest=digest_of(first_week, orders), made_at=now, first_week=first_week, orders=orders)
