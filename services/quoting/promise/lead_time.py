"""When does it ship? A thousand draws of the whole job: every path, every wait, every lot that is made again, on the calendar of the shop."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from services.optics.law import law
from services.quoting.costs.cost import MaterialCost, OperationCost
from services.quoting.promise.flow import Step, others_h, steps_of, through
from services.quoting.promise.network import Delivery, MakingAgain, Network, PartInTime, deliveries, quantile
from services.quoting.promise.waits import InBook, Waits
from services.quoting.risk.orders import DATED, Orders
from services.quoting.risk.shortfalls import Shortfall, chance_of_any
from services.shop.calendar import WorkingCalendar
from shared_schemas.lead_times import LeadTime, PromisedDays
from shared_schemas.load import LoadSnapshot
from shared_schemas.operations import BoughtPart, Route, Tooling
from shared_schemas.rates import Rates

Numbers = npt.NDArray[np.float64]

A_MOMENT_H = 1e-6
"""What is there at the end of a day is gone on with on the next."""
NOTHING_SHORT: Mapping[str, Shortfall] = {}


@dataclass(frozen=True)
class Shop:
    """When the shop works, the waits in it, and the share of them that an order waits: all, unless it goes first."""

    calendar: WorkingCalendar
    waits: Waits
    rates: Rates
    orders: Orders
    waited_share: float = 1.0

    @cached_property
    def factors(self) -> dict[str, Numbers]:
        """How far the minutes of each work centre are off in each draw; the same draws as of the cost."""
        return {
            row.name: self.orders.factors(f"minutes of {row.name}", row.minutes_variation)[:DATED]
            for row in self.rates.places_of_work
        }


def shop_of(
    rates: Rates, *, begin: date, load: LoadSnapshot | None = None, orders: Orders | None = None, waited_share: float = 1.0,
    more_hours: float = 0.0,
) -> Shop:  # fmt: skip
    """The shop as its rates and the book of load say; for an order that goes first and is worked on for more hours a day, if that is asked.

    Raises:
        NoWorkingDays: a calendar on which nobody works.
    """
    calendar = WorkingCalendar(rates.calendar, more_hours=more_hours)
    return Shop(calendar, Waits(rates, calendar, begin, load), rates, orders or Orders(), waited_share)


NOTHING_ARRIVES: Mapping[str, tuple[str, date]] = MappingProxyType({})
"""Nothing comes from the customer."""


@dataclass(frozen=True)
class Schedule:
    """An order in time: every part in every draw, and the days that follow from them."""

    network: Network
    shop: Shop
    begin: date
    operations: Mapping[str, Sequence[OperationCost]]
    behind: Mapping[str, Mapping[str, float]]
    shortfalls: Mapping[str, Shortfall]

    @cached_property
    def rising_h(self) -> Numbers:
        """When the order is done in each draw, in order [h]."""
        return np.sort(self.network.done)

    def hours(self, share: float) -> float:
        """Working hours after which so large a share of such orders is done [h]."""
        return quantile(self.rising_h, share)

    def day(self, share: float) -> date:
        """The day on which so large a share of such orders is done."""
        return self.shop.calendar.day_after_hours(self.begin, self.hours(share))

    def days(self, share: float) -> int:
        """Calendar days after which so large a share of such orders is done."""
        return (self.day(share) - self.begin).days

    @cached_property
    def p50_days(self) -> int:
        """Calendar days after which half of such orders are done."""
        return self.days(0.5)

    @cached_property
    def p90_days(self) -> int:
        """Calendar days after which nine of ten such orders are done."""
        return self.days(0.9)

    @property
    def ship_date(self) -> date:
        """The day by which nine of ten such orders are done."""
        return self.begin + timedelta(days=self.p90_days)

    @cached_property
    def lead_time(self) -> LeadTime:
        """The days as they stand in a quote, with what decides them."""
        return LeadTime(
            p50_days=self.p50_days,
            p80_days=self.days(0.8),
            p90_days=self.p90_days,
            ship_date=self.ship_date,
            critical_path=self.network.path(),
            decided_by=self.network.decided_by(self.shop.calendar.hours_per_week / 7),
            remake_chance=round(chance_of_any(self.shortfalls), 3),
        )

    @cached_property
    def promised(self) -> PromisedDays:
        """The three days."""
        return PromisedDays(p50=self.day(0.5), p80=self.day(0.8), p90=self.day(0.9))

    def by(self, day: date) -> npt.NDArray[np.bool_]:
        """The draws in which the order is done by the end of a day, shape (1 000,)."""
        return np.asarray(self.network.done <= self.shop.calendar.hours_between(self.begin, day + timedelta(days=1)) + 1e-9)

    @property
    def bottleneck(self) -> str:
        """The work centre whose stations have most work of this order, each."""
        hours: dict[str, float] = {}
        for part in self.network.parts.values():
            for step in part.steps:
                centre = step.work_centre
                hours[centre.name] = hours.get(centre.name, 0.0) + step.borne_h / centre.stations
        return max(sorted(hours), key=lambda name: hours[name])

    @property
    def in_book(self) -> InBook:
        """How much of the usual work of the work centres of this order the book holds, and how much it should; nothing of both without one."""
        centres = {step.work_centre.name for part in self.network.parts.values() for step in part.steps}
        found = [waits.in_book for name in sorted(centres) if (waits := self.shop.waits.at(name)) is not None]
        return InBook(sum(one.held_h for one in found), sum(one.expected_h for one in found))

    def may_move(self, *, by_h: float) -> bool:
        """Whether the median day is another one when the order is done so much sooner [h], or later below 0."""
        if not by_h:
            return False
        then = max(self.hours(0.5) - by_h, 0.0)
        return self.shop.calendar.day_after_hours(self.begin, then) != self.day(0.5)

    def operation_days(self) -> dict[str, list[tuple[date, date]]]:
        """For each part, when each operation of its route is expected to begin, or to be waited for, and when to be done."""
        calendar = self.shop.calendar
        return {
            name: [
                (calendar.day_after_hours(self.begin, ready_h + A_MOMENT_H), calendar.day_after_hours(self.begin, finish_h))
                for ready_h, finish_h in zip(part.passage.ready_h, part.passage.finish_h, strict=True)
            ]
            for name, part in self.network.parts.items()
        }


def schedule(
    *, routes: Sequence[Route], operations: Mapping[str, Sequence[OperationCost]], materials: Sequence[MaterialCost],
    bought_parts: Sequence[BoughtPart], tooling: Sequence[Tooling], begin: date, shop: Shop,
    shortfalls: Mapping[str, Shortfall] = NOTHING_SHORT, reuse: Schedule | None = None,
    supplied: Mapping[str, tuple[str, date]] = NOTHING_ARRIVES,
) -> Schedule:  # fmt: skip
    """An order in time. Parts that go as those of `reuse` are not followed anew.

    Notes:
        A part begins when its glass, its tools and all the parts it consumes are there; elements run side by side, batches of
        a part move on as they are done, behind the queue of each work centre and behind the other parts of the order there.
        Everything is counted in working hours of the calendar from the order on, so that holidays stand in every path: a delivery
        comes at the beginning of its day. A lot that is short is started again from its first operation when that is found.
    """
    steps = {
        route.part: reuse.network.parts[route.part].steps
        if reuse and reuse.shop is shop and reuse.operations.get(route.part) is operations[route.part]
        else steps_of(operations[route.part], shop.calendar)
        for route in routes
    }
    behind = others_h(steps)
    from_customer = {part: (name, float(max((day - begin).days, 0))) for part, (name, day) in supplied.items()}
    outside = {
        part: Delivery(name, days, shop.calendar.hours_between(begin, begin + timedelta(days=math.ceil(days))))
        for part, (name, days) in deliveries(routes, materials, bought_parts, tooling, from_customer).items()
    }
    parts: dict[str, PartInTime] = {}
    for route in routes:
        known = _as_before(route, reuse, shop, parts, outside, operations, behind, shortfalls)
        parts[route.part] = known or _part(route, steps[route.part], shop, parts, outside, behind, shortfalls)
    return Schedule(Network(parts, MakingAgain(shop.waits, shop.waited_share)), shop, begin, operations, behind, shortfalls)


def _part(
    route: Route, steps: Sequence[Step], shop: Shop, parts: Mapping[str, PartInTime], outside: Mapping[str, Delivery],
    behind: Mapping[str, Mapping[str, float]], shortfalls: Mapping[str, Shortfall],
) -> PartInTime:  # fmt: skip
    delivery = outside.get(route.part)
    arrival = np.full(DATED, delivery.hours if delivery else 0.0)
    for consumed in route.consumes:
        np.maximum(arrival, parts[consumed.part].done, out=arrival)
    passage = through(
        steps, arrival, waits=shop.waits, factors=shop.factors, behind=behind[route.part], waited_share=shop.waited_share
    )
    shortfall, again = shortfalls.get(route.part), None
    if shortfall is not None and shortfall.at_once.any():
        again = MakingAgain(shop.waits, shop.waited_share).takes_h(
            steps, passage, begin=passage.done, lot=shortfall.lot, draws=shortfall.at_once
        )
    return PartInTime(route, delivery, steps, passage, shortfall, again)


def _as_before(
    route: Route, reuse: Schedule | None, shop: Shop, parts: Mapping[str, PartInTime], outside: Mapping[str, Delivery],
    operations: Mapping[str, Sequence[OperationCost]], behind: Mapping[str, Mapping[str, float]], shortfalls: Mapping[str, Shortfall],
) -> PartInTime | None:  # fmt: skip
    """A part that goes as it did before: the same work in the same shop, as many before it, arriving when it did."""
    name = route.part
    if reuse is None or reuse.shop is not shop or reuse.operations.get(name) is not operations[name]:
        return None
    before = reuse.network.parts[name]
    alike = (
        before.delivery == outside.get(name)
        and reuse.behind[name] == behind[name]
        and reuse.shortfalls.get(name) is shortfalls.get(name)
        and all(reuse.network.parts[one.part] is parts[one.part] for one in route.consumes)
    )
    return before if alike else None


@law
def days_saved(*, days_as_quoted: int, days_then: int) -> int:
    """Days by which a date comes nearer.

    Equation: days_as_quoted - days_then
    """
    return days_as_quoted - days_then
