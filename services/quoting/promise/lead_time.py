"""When does it ship? Glass and tools first, then every operation behind the queue of its work centre."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from services.optics.law import law
from services.quoting.costs.cost import MaterialCost, OperationCost
from services.quoting.promise.flow import Passage, Queue, Span, Step, passages, queues_of, span_of, steps_of
from services.shop.calendar import WorkingCalendar
from shared_schemas.lead_times import LeadTime
from shared_schemas.operations import BoughtPart, Route, Tooling
from shared_schemas.rates import Rates

Z_90 = 1.2815515655446004
"""90 % quantile of the standard normal distribution."""


@dataclass(frozen=True)
class Shop:
    """When the shop works, the queues in it, and the share of them that an order waits: all, unless it goes first."""

    calendar: WorkingCalendar
    queues: Mapping[str, Queue]
    waited_share: float = 1.0


def shop_of(rates: Rates, *, waited_share: float = 1.0, more_hours: float = 0.0) -> Shop:
    """The shop as its rates say; for an order that goes first and is worked on for more hours a day, if that is asked.

    Raises:
        NoWorkingDays: a calendar on which nobody works.
    """
    return Shop(WorkingCalendar(rates.calendar, more_hours=more_hours), queues_of(rates), waited_share)


@dataclass(frozen=True)
class Path:
    """A way through the shop: what it waits for first [calendar days], then working time."""

    names: tuple[str, ...] = ()
    wait_days: float = 0.0
    span: Span = field(default_factory=Span)

    def then(self, name: str, span: Span) -> Path:
        """This way and one thing more."""
        return Path((*self.names, name), self.wait_days, self.span + span)


@dataclass(frozen=True)
class Schedule:
    """A lead time with what it was worked out from: the path that sets it, and the steps and passages of every part."""

    lead_time: LeadTime
    path: Path
    p50_h: float
    p90_h: float
    steps: Mapping[str, Sequence[Step]]
    passed: Mapping[str, Sequence[Passage]]
    shop: Shop
    start: date
    p50: date
    operations: Mapping[str, Sequence[OperationCost]]

    @property
    def bottleneck(self) -> str:
        """The work centre whose stations have most work of this order, each."""
        hours: dict[str, float] = {}
        for steps in self.steps.values():
            for step in steps:
                centre = step.work_centre
                hours[centre.name] = hours.get(centre.name, 0.0) + step.borne_h / centre.stations
        return max(sorted(hours), key=lambda name: hours[name])

    def moves(self, *, by_h: float) -> bool:
        """Whether the median date is another one when the path is so much shorter [h], or longer below 0."""
        return by_h != 0 and self.shop.calendar.day_after_hours(self.start, max(self.p50_h - by_h, 0.0)) != self.p50


def schedule(
    *, routes: Sequence[Route], operations: Mapping[str, Sequence[OperationCost]], materials: Sequence[MaterialCost],
    bought_parts: Sequence[BoughtPart], tooling: Sequence[Tooling], begin: date, rates: Rates, reuse: Schedule | None = None,
    shop: Shop | None = None,
) -> Schedule:  # fmt: skip
    """Days from order to shipping, and the path that sets them.

    Parts whose costs are those of `like` are not followed anew. The shop is that of `like` or of the rates unless another is given.

    Notes:
        A part begins when its glass, its tools and all the parts it consumes are there; elements run side by side, and
        batches of a part move on as they are done, behind the queue of each work centre. Where the parts of the order
        themselves crowd a work centre, its share of their work sets the path. Waiting is taken as exponential, its
        variance as the square of its mean; the sum along the path as log-normal, whose 50 and 90 % points are the two
        figures. The ship date is the 90 % one.
    """
    shop = shop or (reuse.shop if reuse else shop_of(rates))
    calendar, queues = shop.calendar, shop.queues
    per_day = calendar.hours_per_week / 7
    anew = [route.part for route in routes if reuse is None or reuse.operations.get(route.part) is not operations[route.part]]
    steps = {**(reuse.steps if reuse else {}), **{part: steps_of(operations[part], queues) for part in anew}}
    waits_alike = reuse is not None and reuse.shop.waited_share == shop.waited_share
    followed = anew if waits_alike else [route.part for route in routes]
    passed = {
        **(reuse.passed if reuse else {}),
        **{part: passages(steps[part], waited_share=shop.waited_share) for part in followed},
    }
    spans = {part: span_of(own) for part, own in passed.items()}
    waits = _first_waits(routes, materials, bought_parts, tooling)
    arrivals = _arrivals(routes, spans, waits, per_day)
    whole = routes[-1].part
    straight = arrivals[whole].then(whole, spans[whole])
    crowded = _most_crowded(routes, steps, passed, spans, arrivals, shop)
    path = crowded if crowded and _days(crowded, per_day) > _days(straight, per_day) else straight
    p50_h, p90_h = log_normal_points(mean=path.span.hours, variance=path.span.variance)
    start = begin + timedelta(days=math.ceil(path.wait_days))
    p50, p90 = calendar.day_after_hours(start, p50_h), calendar.day_after_hours(start, p90_h)
    lead_time = LeadTime(p50_days=(p50 - begin).days, p90_days=(p90 - begin).days, ship_date=p90, critical_path=path.names)
    return Schedule(lead_time, path, p50_h, p90_h, steps, passed, shop, start, p50, operations)


def log_normal_points(*, mean: float, variance: float) -> tuple[float, float]:
    """The 50 % and 90 % points of a log-normal distribution with that mean and variance; both the mean without variance."""
    spread = log_normal_spread(mean_h=mean, variance_h2=variance) if mean > 0 else 0.0
    median = median_h(mean_h=mean, spread=spread)
    return median, late_h(median_h=median, spread=spread)


@law
def log_normal_spread(*, mean_h: float, variance_h2: float) -> float:
    """Standard deviation of the logarithm of a log-normal sum of waits and work, from its mean [h], above 0, and variance [h2].

    Equation: sqrt(log(1 + variance_h2 / mean_h**2))
    """
    return math.sqrt(math.log1p(variance_h2 / mean_h**2))


@law
def median_h(*, mean_h: float, spread: float) -> float:
    """Hours [h] that half of such sums stay below.

    Equation: mean_h * exp(-spread**2 / 2)
    """
    return mean_h * math.exp(-(spread**2) / 2)


@law
def late_h(*, median_h: float, spread: float) -> float:
    """Hours [h] that nine of ten such sums stay below; 1.2816 is the 90 % point of the standard normal distribution.

    Equation: median_h * exp(1.2815515655446004 * spread)
    """
    return median_h * math.exp(Z_90 * spread)


@law
def days_saved(*, days_as_quoted: int, days_then: int) -> int:
    """Days by which a date comes nearer.

    Equation: days_as_quoted - days_then
    """
    return days_as_quoted - days_then


def _days(path: Path, per_day: float) -> float:
    return path.wait_days + path.span.hours / per_day


def _first_waits(
    routes: Sequence[Route], materials: Sequence[MaterialCost], bought_parts: Sequence[BoughtPart], tooling: Sequence[Tooling]
) -> dict[str, Path]:
    """What each part waits for from outside: glass for elements, bought parts for the lens, tools for whichever needs them."""
    waits = {route.part: Path() for route in routes}

    def later(part: str, name: str, days: float) -> None:
        if part in waits and days > waits[part].wait_days:
            waits[part] = Path((name,), days)

    for material in materials:
        for member in material.model.members:
            later(member, f"glass {material.model.glass}", material.lead_days)
    for tool in tooling:
        later(tool.part, tool.name, tool.lead_days)
    for bought in bought_parts:
        later(routes[-1].part, bought.name, bought.lead_days)
    return waits


def _arrivals(routes: Sequence[Route], spans: Mapping[str, Span], waits: Mapping[str, Path], per_day: float) -> dict[str, Path]:
    """For each part the longest of the ways to its first operation."""
    arrivals: dict[str, Path] = {}
    for route in routes:
        inputs = [arrivals[one.part].then(one.part, spans[one.part]) for one in route.consumes]
        arrivals[route.part] = max([waits[route.part], *inputs], key=lambda path: _days(path, per_day))
    return arrivals


@dataclass
class Crowd:
    """All that comes to one work centre: its work, the least way to it and the least way on from it."""

    step: Step
    visits: int = 0
    work_h: float = 0.0
    head_days: float = math.inf
    head_part: str = ""
    head: Passage | None = None
    tail_h: float = math.inf
    tail_part: str = ""
    tail_own_h: float = 0.0


def _most_crowded(
    routes: Sequence[Route], steps: Mapping[str, Sequence[Step]], passed: Mapping[str, Sequence[Passage]],
    spans: Mapping[str, Span], arrivals: Mapping[str, Path], shop: Shop,
) -> Path | None:  # fmt: skip
    """Of the work centres that several operations need, the one that takes longest, as a path through it.

    Notes:
        No plan is shorter than min(head) + sum(work)/stations + min(tail), the bound of one machine (common practice).
    """
    per_day = shop.calendar.hours_per_week / 7
    beyond = _ways_on(routes, spans)
    crowds: dict[str, Crowd] = {}
    for route in routes:
        _come_by(crowds, route.part, steps[route.part], passed[route.part], arrivals[route.part], beyond[route.part], per_day)
    slowest = None
    for crowd in crowds.values():
        if crowd.visits > 1:
            wait_h = shop.waited_share * crowd.step.wait_h
            days = crowd.head_days + (wait_h + crowd.work_h / crowd.step.work_centre.stations + crowd.tail_h) / per_day
            if slowest is None or days > slowest[0]:
                slowest = (days, crowd)
    return _through(slowest[1], arrivals, beyond, shop.waited_share) if slowest else None


def _ways_on(routes: Sequence[Route], spans: Mapping[str, Span]) -> dict[str, Path]:
    """For each part the way on from it to the end."""
    beyond = {route.part: Path() for route in routes}
    for route in reversed(routes):
        onward = Path((route.part, *beyond[route.part].names), 0.0, beyond[route.part].span + spans[route.part])
        for consumed in route.consumes:
            known = beyond[consumed.part]
            beyond[consumed.part] = max(known, onward, key=lambda path: path.span.hours) if known.names else onward
    return beyond


def _come_by(
    crowds: dict[str, Crowd], part: str, steps: Sequence[Step], passed: Sequence[Passage], arrival: Path, beyond: Path, per_day: float
) -> None:  # fmt: skip
    left_h = sum(step.batch_h for step in steps)
    arrival_days, beyond_h = _days(arrival, per_day), beyond.span.hours
    for step, passage in zip(steps, passed, strict=True):
        left_h = max(left_h - step.batch_h, 0.0)
        crowd = crowds.get(step.work_centre.name)
        if crowd is None:
            crowd = crowds[step.work_centre.name] = Crowd(step)
        crowd.visits += 1
        crowd.work_h += step.borne_h
        head_days = arrival_days + passage.ready_h / per_day
        if head_days < crowd.head_days:
            crowd.head_days, crowd.head_part, crowd.head, crowd.step = head_days, part, passage, step
        if left_h + beyond_h < crowd.tail_h:
            crowd.tail_h, crowd.tail_part, crowd.tail_own_h = left_h + beyond_h, part, left_h


def _through(crowd: Crowd, arrivals: Mapping[str, Path], beyond: Mapping[str, Path], waited_share: float) -> Path | None:
    if crowd.head is None:
        return None
    step, tail = crowd.step, beyond[crowd.tail_part]
    wait_h = waited_share * step.wait_h
    head = arrivals[crowd.head_part].then(crowd.head_part, Span(crowd.head.ready_h, crowd.head.variance - wait_h**2))
    work_h = crowd.work_h / step.work_centre.stations
    there = head.then(shared(step.work_centre.name), Span(wait_h + work_h, wait_h**2))
    return Path((*there.names, *tail.names), there.wait_days, there.span + Span(crowd.tail_own_h) + tail.span)


def shared(work_centre: str) -> str:
    """How a path names a work centre that all parts crowd."""
    return f"{work_centre}, shared by all parts"
