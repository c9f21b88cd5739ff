"""When does it ship? Glass and tools first, then every operation behind the queue of its work centre."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from services.quoting.domain.cost import MaterialCost, OperationCost
from services.quoting.domain.flow import Span, Step, passages, span_of, steps_of
from services.quoting.domain.working_calendar import WorkingCalendar
from shared_schemas.operations import BoughtPart, Route, Tooling
from shared_schemas.quote import LeadTime
from shared_schemas.rates import Rates

Z_90 = 1.2815515655446004
"""90 % quantile of the standard normal distribution."""


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
    """A lead time with what it was worked out from: the path that sets it, and the steps of every part."""

    lead_time: LeadTime
    path: Path
    p50_h: float
    p90_h: float
    steps: Mapping[str, Sequence[Step]]


def schedule(
    *, routes: Sequence[Route], operations: Mapping[str, Sequence[OperationCost]], materials: Sequence[MaterialCost],
    bought_parts: Sequence[BoughtPart], tooling: Sequence[Tooling], begin: date, rates: Rates,
) -> Schedule:  # fmt: skip
    """Days from order to shipping, and the path that sets them.

    Notes:
        A part begins when its glass, its tools and all the parts it consumes are there; elements run side by side, and
        batches of a part move on as they are done, behind the queue of each work centre. Where the parts of the order
        themselves crowd a work centre, its share of their work sets the path. Waiting is taken as exponential, its
        variance as the square of its mean; the sum along the path as log-normal, whose 50 and 90 % points are the two
        figures. The ship date is the 90 % one.
    """
    calendar = WorkingCalendar(rates.calendar)
    per_day = calendar.hours_per_week / 7
    steps = {route.part: steps_of(operations[route.part], rates) for route in routes}
    spans = {part: span_of(own) for part, own in steps.items()}
    waits = _first_waits(routes, materials, bought_parts, tooling)
    arrivals = _arrivals(routes, spans, waits, per_day)
    whole = routes[-1].part
    straight = arrivals[whole].then(whole, spans[whole])
    path = max([straight, *_crowded(routes, steps, spans, arrivals, per_day)], key=lambda one: _days(one, per_day))
    p50_h, p90_h = log_normal_points(mean=path.span.hours, variance=path.span.variance)
    start = begin + timedelta(days=math.ceil(path.wait_days))
    p50, p90 = calendar.day_after_hours(start, p50_h), calendar.day_after_hours(start, p90_h)
    found = LeadTime(p50_days=(p50 - begin).days, p90_days=(p90 - begin).days, ship_date=p90, critical_path=path.names)
    return Schedule(found, path, p50_h, p90_h, steps)


def log_normal_points(*, mean: float, variance: float) -> tuple[float, float]:
    """The 50 % and 90 % points of a log-normal distribution with that mean and variance; both the mean without variance.

    Notes:
        s = sqrt(ln(1 + v/m^2)); p50 = m exp(-s^2/2); p90 = p50 exp(1.2816 s).
    """
    if mean <= 0 or variance <= 0:
        return mean, mean
    spread = math.sqrt(math.log1p(variance / mean**2))
    middle = mean * math.exp(-(spread**2) / 2)
    return middle, middle * math.exp(Z_90 * spread)


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


@dataclass(frozen=True)
class Visit:
    """One operation seen from its work centre: the way to it, itself, and the least way on from it."""

    head: Path
    step: Step
    tail: Path


def _crowded(
    routes: Sequence[Route],
    steps: Mapping[str, Sequence[Step]],
    spans: Mapping[str, Span],
    arrivals: Mapping[str, Path],
    per_day: float,
) -> list[Path]:
    """For each work centre that several operations need: the least way to it, its share of all their work, the least way on.

    Notes:
        No plan is shorter than min(head) + sum(work)/stations + min(tail), the bound of one machine (common practice).
    """
    tails = {routes[-1].part: Path()}
    for route in reversed(routes):
        beyond = tails[route.part].span + spans[route.part]
        for consumed in route.consumes:
            tails[consumed.part] = Path((route.part, *tails[route.part].names), 0.0, beyond)
    visits: dict[str, list[Visit]] = defaultdict(list)
    for route in routes:
        for visit in _visits(route.part, steps[route.part], arrivals[route.part], tails.get(route.part, Path())):
            visits[visit.step.work_centre.name].append(visit)
    return [_through(centre, found, per_day) for centre, found in visits.items() if len(found) > 1]


def _visits(part: str, steps: Sequence[Step], arrival: Path, beyond: Path) -> list[Visit]:
    found = []
    left_h = sum(step.batch_h for step in steps)
    for step, passage in zip(steps, passages(steps), strict=True):
        left_h -= step.batch_h
        head = arrival.then(part, Span(passage.ready_h, passage.variance - step.wait_h**2))
        found.append(Visit(head, step, Path(beyond.names, 0.0, Span(max(left_h, 0.0)) + beyond.span)))
    return found


def _through(centre: str, visits: Sequence[Visit], per_day: float) -> Path:
    head = min((visit.head for visit in visits), key=lambda path: _days(path, per_day))
    tail = min((visit.tail for visit in visits), key=lambda path: path.span.hours)
    step = visits[0].step
    work_h = sum(visit.step.work_h for visit in visits) / step.work_centre.stations
    there = head.then(f"{centre}, shared by all parts", Span(step.wait_h + work_h, step.wait_h**2))
    return Path((*there.names, *tail.names), there.wait_days, there.span + tail.span)
