"""Which accepted orders would have to give way so that this one finds an emptier shop, and by how many days each would slip."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from statistics import fmean

from services.optics.law import law
from services.quoting.pricing.evaluation import Evaluation
from services.quoting.pricing.plans import Plans
from services.quoting.promise.lead_time import Schedule
from shared_schemas.lead_times import SlippedOrder
from shared_schemas.load import CentreLoad, LoadSnapshot, OrderLoad

MOST_MOVED = 3
"""No more orders than these are moved for one."""
MOST_CENTRES = 8
"""Other work gives way at so many work centres: those at which the path spends most hours."""
LEAST_FREE_SHARE = 0.05
"""Of the hours of a work centre at least this share is taken to be free for work that was moved, however full it is."""


@dataclass(frozen=True)
class WeeksAfter:
    """A mean week of a work centre after this order: its hours [h] and its load."""

    capacity_h: float
    load: float


@dataclass(frozen=True)
class Displaced:
    """The work of one order that gives way at the work centre where that costs it most days: its own hours and those moved before it [h]."""

    order: OrderLoad
    work_centre: str
    hours: float
    moved_before_h: float
    weeks_after: WeeksAfter

    @property
    def free_h(self) -> float:
        """Hours free for it in a week after this order [h]."""
        return free_h_per_week(
            capacity_h=self.weeks_after.capacity_h, load=self.weeks_after.load, least_free_share=LEAST_FREE_SHARE
        )

    @property
    def days(self) -> int:
        """Days by which it would be later."""
        return slip_days(displaced_h=self.hours, moved_before_h=self.moved_before_h, free_h_per_week=self.free_h)

    def as_slipped(self) -> SlippedOrder:
        """As it stands in the offer."""
        day = self.order.ship_date
        return SlippedOrder(order=self.order.order, days=self.days, ship_date=day + timedelta(days=self.days) if day else None)


@dataclass(frozen=True)
class MovedWork:
    """The orders that give way, and the book without what they have in this order's way."""

    displaced: tuple[Displaced, ...]
    book: LoadSnapshot


@law
def slip_days(*, displaced_h: float, moved_before_h: float, free_h_per_week: float) -> int:
    """Days by which an order is later whose work is done in the free hours after this one's, behind what else was moved.

    Equation: ceil(7 * (displaced_h + moved_before_h) / free_h_per_week)
    Source: work moved back is done as hours are free, a rule of loading (common practice).
    """
    return math.ceil(7 * (displaced_h + moved_before_h) / free_h_per_week)


@law
def free_h_per_week(*, capacity_h: float, load: float, least_free_share: float) -> float:
    """Hours of a week of a work centre that are free [h].

    Equation: capacity_h * max(1 - load, least_free_share)
    """
    return capacity_h * max(1 - load, least_free_share)


def moved_work(evaluation: Evaluation, plans: Plans) -> tuple[MovedWork, ...]:
    """One order that gives way, and three: those with most hours at the work centres that decide, in the weeks until this order has been there.

    Notes: nothing without a book. An order that gives way does its work of those weeks afterwards.
    """
    if plans.load is None:
        return ()
    weeks = weeks_there(evaluation.schedule, plans.load)
    hours = {order.order: sum(_hours_in(order, weeks).values()) for order in plans.load.orders}
    fullest = sorted((one for one in plans.load.orders if hours[one.order] > 0), key=lambda one: (-hours[one.order], one.order))
    return tuple(
        _moved(fullest[:number], weeks, plans, evaluation.schedule)
        for number in sorted({min(1, len(fullest)), min(MOST_MOVED, len(fullest))})
        if number
    )


def weeks_there(schedule: Schedule, book: LoadSnapshot) -> dict[str, range]:
    """The weeks of the book until parts on the path have been at each of the work centres that decide: what stands there before them counts."""
    deciding = _deciding(schedule)
    days: dict[str, list[date]] = {}
    operation_days = schedule.operation_days()
    for name, part in schedule.network.parts.items():
        if not schedule.network.on_path[name].any():
            continue
        for step, (_, ends) in zip(part.steps, operation_days[name], strict=True):
            if step.work_centre.name in deciding:
                days.setdefault(step.work_centre.name, []).append(ends)
    first = max(book.week_of(schedule.begin), 0)
    return {centre: range(first, max(book.week_of(max(there)) + 1, first)) for centre, there in sorted(days.items())}


def _deciding(schedule: Schedule) -> tuple[str, ...]:
    """The work centres at which the path done last spends most hours, waiting counted in; of those that have a queue."""
    hours: dict[str, float] = {}
    for name, part in schedule.network.parts.items():
        on_path = schedule.network.on_path[name]
        times = (part.passage.arrival, *part.passage.finishes)
        for step, (before, after) in zip(part.steps, pairwise(times), strict=True):
            centre = step.work_centre.name
            if schedule.shop.waits.at(centre) is not None:
                hours[centre] = hours.get(centre, 0.0) + float(on_path @ (after - before))
    return tuple(sorted(hours, key=lambda centre: (-hours[centre], centre))[:MOST_CENTRES])


def _hours_in(order: OrderLoad, weeks: Mapping[str, range]) -> dict[str, float]:
    """Hours of an order in those weeks, by work centre."""
    return {
        load.work_centre: sum(load.booked_h[weeks[load.work_centre].start : weeks[load.work_centre].stop])
        for load in order.work_centres
        if load.work_centre in weeks
    }


def _moved(orders: Sequence[OrderLoad], weeks: Mapping[str, range], plans: Plans, schedule: Schedule) -> MovedWork:
    assert plans.load is not None
    book = plans.load
    gone = {order.order for order in orders}
    rest = tuple(_without(order, weeks) if order.order in gone else order for order in book.orders)
    before: dict[str, float] = {}
    displaced = []
    for order in orders:
        hours = {centre: own for centre, own in _hours_in(order, weeks).items() if own > 0}
        slips = [Displaced(order, centre, own, before.get(centre, 0.0), weeks_after(centre, weeks[centre], schedule, book))
                 for centre, own in hours.items()]  # fmt: skip
        displaced.append(max(slips, key=lambda one: one.days))
        for centre, own in hours.items():
            before[centre] = before.get(centre, 0.0) + own
    return MovedWork(tuple(displaced), book.model_copy(update={"orders": rest}))


def _without(order: OrderLoad, weeks: Mapping[str, range]) -> OrderLoad:
    return order.model_copy(update={"work_centres": tuple(_emptied(load, weeks) for load in order.work_centres)})


def _emptied(load: CentreLoad, weeks: Mapping[str, range]) -> CentreLoad:
    there = weeks.get(load.work_centre, range(0))
    return load.model_copy(update={"booked_h": tuple(0.0 if week in there else hours for week, hours in enumerate(load.booked_h))})


def weeks_after(centre: str, weeks: range, schedule: Schedule, book: LoadSnapshot) -> WeeksAfter:
    """The mean of the weeks after this order has been at a work centre, as far as the book is looked ahead; else of the last that is known."""
    waits = schedule.shop.waits.at(centre)
    assert waits is not None
    begins_h = schedule.shop.calendar.hours_between(schedule.begin, book.first_week + timedelta(weeks=weeks.stop))
    after = [week for week in waits.weeks if week.begins_h >= begins_h] or waits.weeks[-1:]
    return WeeksAfter(fmean(week.capacity_h for week in after), fmean(week.load for week in after))
