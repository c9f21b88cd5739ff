"""What the routes of orders do: the book as people read it, what an ERP books, and how orders end."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from datetime import date, datetime
from difflib import get_close_matches

from services.chassis.resources import Resources
from services.orders.domain.book import ONE_WEEK, Capacity, hours_of, last_week_of, ticks_of
from services.orders.domain.chart import chart_of
from services.orders.domain.snapshot import Booking, orders_in
from services.orders.errors import MOST_NAMED, BookingsRefused
from services.orders.store.repository import BookStore, StoredOrder
from shared_schemas.load import (
    ACCEPTED,
    CentreWeeks,
    LoadBook,
    LoadPut,
    LoadSnapshot,
    OrderInBook,
    WeekOfLoad,
    monday_of,
)
from shared_schemas.problem import ProblemDetail
from shared_schemas.rates import Rates

SLACK = 1
"""Ticks by which a week may be passed, as hours come rounded."""


def load_book(resources: Resources, *, today: date, weeks: int) -> LoadBook:
    """The newest snapshot against the hours of the latest rates, from this week on."""
    store = BookStore(resources.database)
    head = store.latest()
    snapshot = LoadSnapshot.model_validate_json(store.snapshot(head.number)[1])
    centres = centre_weeks(snapshot, resources.rates.latest().rates, first_week=monday_of(today), weeks=weeks)
    return LoadBook(
        snapshot=head.number,
        digest=head.digest,
        made_at=head.made_at,
        first_week=monday_of(today),
        orders=head.orders,
        work_centres=centres,
        chart=chart_of(centres, first_week=monday_of(today).isoformat()),
    )


def centre_weeks(snapshot: LoadSnapshot, rates: Rates, *, first_week: date, weeks: int) -> tuple[CentreWeeks, ...]:
    """Booked and free hours of every work centre; also of one that is booked and no longer in the rates."""
    capacity, booked = Capacity(rates), snapshot.booked_h()
    usual = rates.usual_load
    ahead = snapshot.week_of(first_week)
    found = []
    for name in (*capacity.centres, *sorted(set(booked) - set(capacity.centres))):
        row, hours = usual.get(name), booked.get(name, ())
        found.append(
            CentreWeeks(
                work_centre=name,
                usual_share=row.utilisation if row else 0.0,
                booked_share=row.booked_share if row else 0.0,
                weeks=tuple(
                    _week(
                        first_week + number * ONE_WEEK,
                        hours_of(capacity.ticks(name, first_week + number * ONE_WEEK)),
                        hours[ahead + number] if 0 <= ahead + number < len(hours) else 0.0,
                    )
                    for number in range(weeks)
                ),
            )
        )
    return tuple(found)


def _week(week: date, capacity_h: float, booked_h: float) -> WeekOfLoad:
    return WeekOfLoad(
        week=week,
        capacity_h=round(capacity_h, 3),
        booked_h=round(booked_h, 3),
        free_h=round(max(capacity_h - booked_h, 0.0), 3),
        share=round(booked_h / capacity_h, 4) if capacity_h else float(booked_h > 0),
    )


def put_load(asked: LoadPut, *, resources: Resources, now: datetime) -> bool:
    """Put what a source has booked in the place of what it had; whether that made another book.

    Raises `BookingsRefused` that names every booking which cannot be; nothing is booked then.
    """
    capacity = Capacity(resources.rates.latest().rates)

    def check(taken: Mapping[tuple[str, date], int]) -> Iterable[Booking]:
        return checked(asked, capacity, taken, today=now.date())

    return BookStore(resources.database).put(asked.source, check, now=now)


def checked(asked: LoadPut, capacity: Capacity, taken: Mapping[tuple[str, date], int], *, today: date) -> list[Booking]:
    """The bookings of a source, those of one order, work centre and week added up; raises `BookingsRefused`."""
    if asked.source == ACCEPTED:
        reason = f"the source {ACCEPTED} is the suite's own"
        raise BookingsRefused(
            [ProblemDetail(pointer="/source", reason=reason, figure=asked.source, remedy="name the system that booked it")]
        )
    first, last = monday_of(today), last_week_of(monday_of(today))
    faults: list[ProblemDetail] = []
    held: dict[tuple[str, str, date], Booking] = {}
    full: dict[tuple[str, date], int] = dict(taken)
    for place, one in enumerate(asked.bookings):
        at = f"/bookings/{place}"
        if not capacity.knows(one.work_centre):
            # Of thousands of wrong names only those that are told are looked for.
            near = get_close_matches(one.work_centre, capacity.centres, 1) if len(faults) < MOST_NAMED else []
            remedy = f"did you mean {near[0]}?" if near else "name a work centre of the rates"
            faults.append(
                ProblemDetail(
                    pointer=f"{at}/work_centre", reason="there is no such work centre", figure=one.work_centre, remedy=remedy
                )
            )
            continue
        if not first <= one.week <= last:
            when = "is over" if one.week < first else "is beyond the book"
            faults.append(
                ProblemDetail(
                    pointer=f"{at}/week",
                    reason=f"that week {when}",
                    figure=one.week.isoformat(),
                    limit=f"{first} to {last}",
                    remedy="book a week from this one on" if one.week < first else "leave it out until it is nearer",
                )
            )
            continue
        key = (one.order, one.work_centre, one.week)
        ticks = ticks_of(one.hours) + (held[key].ticks if key in held else 0)
        full[one.work_centre, one.week] = full.get((one.work_centre, one.week), 0) + ticks_of(one.hours)
        there = capacity.ticks(one.work_centre, one.week)
        if full[one.work_centre, one.week] > there + SLACK:
            faults.append(
                ProblemDetail(
                    pointer=f"{at}/hours",
                    reason=f"the {one.work_centre} would be loaded beyond all its hours in the week of {one.week}",
                    figure=round(hours_of(full[one.work_centre, one.week]), 3),
                    limit=round(hours_of(there), 3),
                    remedy="book what is over into another week",
                )
            )
        if ticks:
            held[key] = Booking(asked.source, one.order, one.work_centre, one.week, ticks, one.ship_date)
    if faults:
        raise BookingsRefused(faults)
    return list(held.values())


def order_in_book(stored: StoredOrder, held: Collection[Booking], *, today: date) -> OrderInBook:
    """An order as it is read, with the weeks of what it has booked; one that has ended has nothing booked."""
    order = stored.order
    first_week = min((one.week for one in held), default=monday_of(today))
    loads = orders_in(held, first_week=first_week)
    return OrderInBook(
        order=stored.number,
        source=ACCEPTED,
        state=stored.state,
        quantity=order.quantity,
        customer=order.customer,
        title=order.title,
        accepted_at=order.accepted_at,
        quoted_ship_date=order.quoted_ship_date,
        ship_date=order.ship_date,
        booked_h=round(sum(hours_of(one.ticks) for one in held), 6),
        work_centres=loads[0].work_centres if loads else (),
        first_week=first_week if loads else None,
        revision=order.revision,
        deliveries=order.deliveries,
        cancellation_terms=order.cancellation,
        cancellation=stored.ending,
    )
