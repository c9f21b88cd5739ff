"""When does it ship? Glass and tools first, then every operation behind the queue of its work centre."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from services.quoting.domain.cost import MaterialCost, OperationCost
from services.quoting.domain.queues import kingman_wait_h
from services.quoting.domain.working_calendar import WorkingCalendar
from shared_schemas.operations import BoughtPart, Route, Tooling
from shared_schemas.quote import LeadTime
from shared_schemas.rates import Rates, ShopLoadRow, WorkCentreRow

Z_90 = 1.2815515655446004
"""90 % quantile of the standard normal distribution."""


@dataclass(frozen=True)
class Span:
    """A stretch of working time: its mean [h] and variance [h2]."""

    hours: float = 0.0
    variance: float = 0.0

    def __add__(self, other: Span) -> Span:
        """One after the other, independent of each other."""
        return Span(self.hours + other.hours, self.variance + other.variance)


@dataclass(frozen=True)
class Step:
    """One operation of a part: where, its wait in the queue there, and its own work [h]. `load` is None without a queue."""

    work_centre: WorkCentreRow
    load: ShopLoadRow | None
    wait: Span
    work_h: float

    @property
    def span(self) -> Span:
        """Waiting and work together."""
        return self.wait + Span(self.work_h)


@dataclass(frozen=True)
class Path:
    """A way through the shop: what it waits for first [calendar days], then working time."""

    names: tuple[str, ...] = ()
    wait_days: float = 0.0
    span: Span = Span()

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
        A part begins when its glass, its tools and the parts it consumes are there; elements run side by side, each
        operation on one station. Each operation takes its queue and its own minutes. Where the parts of the order
        themselves crowd a work centre, its share of their work sets the path. Waiting is taken as exponential, its
        variance as the square of its mean; the sum along the path as log-normal, whose 50 and 90 % points are the two
        figures. The ship date is the 90 % one.
    """
    calendar = WorkingCalendar(rates.calendar)
    per_day = calendar.hours_per_week / 7
    steps = {route.part: _steps(operations[route.part], rates) for route in routes}
    waits = _first_waits(routes, materials, bought_parts, tooling)
    arrivals = _arrivals(routes, steps, waits, per_day)
    whole = routes[-1].part
    straight = arrivals[whole].then(whole, _sum(steps[whole]))
    path = max([straight, *_crowded(routes, steps, arrivals, per_day)], key=lambda one: _days(one, per_day))
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


def _sum(steps: Sequence[Step]) -> Span:
    return sum((step.span for step in steps), Span())


def _steps(costs: Sequence[OperationCost], rates: Rates) -> list[Step]:
    load = {row.name: row for row in rates.shop_load}
    found = []
    for cost in costs:
        row = load.get(cost.work_centre.name)
        wait_h = 0.0
        if row is not None:
            wait_h = kingman_wait_h(
                utilisation=row.utilisation,
                squared_variation=row.squared_variation,
                mean_job_h=row.mean_job_h,
                stations=cost.work_centre.stations,
            )
        found.append(Step(cost.work_centre, row, Span(wait_h, wait_h**2), cost.machine_min / 60))
    return found


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


def _arrivals(
    routes: Sequence[Route], steps: Mapping[str, Sequence[Step]], waits: Mapping[str, Path], per_day: float
) -> dict[str, Path]:
    """For each part the longest of the ways to its first operation."""
    arrivals: dict[str, Path] = {}
    for route in routes:
        inputs = [arrivals[one.part].then(one.part, _sum(steps[one.part])) for one in route.consumes]
        arrivals[route.part] = max([waits[route.part], *inputs], key=lambda path: _days(path, per_day))
    return arrivals


def _crowded(
    routes: Sequence[Route], steps: Mapping[str, Sequence[Step]], arrivals: Mapping[str, Path], per_day: float
) -> list[Path]:
    """For each work centre that several operations need: the least way to it, its share of all their work, the least way on.

    Notes:
        No plan is shorter than min(head) + sum(work)/stations + min(tail), the bound of one machine (common practice).
    """
    tails = {routes[-1].part: Path()}
    for route in reversed(routes):
        beyond = tails[route.part].span + _sum(steps[route.part])
        for consumed in route.consumes:
            tails[consumed.part] = Path((route.part, *tails[route.part].names), 0.0, beyond)
    visits: dict[str, list[tuple[Path, Step, Path]]] = defaultdict(list)
    for route in routes:
        own = steps[route.part]
        for position, step in enumerate(own):
            after = tails.get(route.part, Path())
            left = Path(after.names, 0.0, _sum(own[position + 1 :]) + after.span)
            visits[step.work_centre.name].append((arrivals[route.part].then(route.part, _sum(own[:position])), step, left))
    return [_through(centre, found, per_day) for centre, found in visits.items() if len(found) > 1]


def _through(centre: str, visits: Sequence[tuple[Path, Step, Path]], per_day: float) -> Path:
    head = min((before for before, _, _ in visits), key=lambda path: _days(path, per_day))
    tail = min((after for _, _, after in visits), key=lambda path: path.span.hours)
    step = visits[0][1]
    shared = step.wait + Span(sum(step.work_h for _, step, _ in visits) / step.work_centre.stations)
    there = head.then(f"{centre}, shared by all parts", shared)
    return Path((*there.names, *tail.names), there.wait_days, there.span + tail.span)
