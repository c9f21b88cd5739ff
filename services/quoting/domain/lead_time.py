"""When does it ship? Glass and tools first, then every operation behind the queue of its work centre."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from services.quoting.domain.cost import MaterialCost, OperationCost
from services.quoting.domain.working_calendar import WorkingCalendar
from shared_schemas.operations import BoughtPart, Route, Tooling
from shared_schemas.quote import LeadTime
from shared_schemas.rates import Rates

Z_90 = 1.2815515655446004
"""90 % quantile of the standard normal distribution."""


def kingman_wait_h(*, utilisation: float, squared_variation: float, mean_job_h: float) -> float:
    """Mean time a job waits before a work centre [h].

    Args:
        utilisation: share of the hours already taken, 0 to below 1.
        squared_variation: (c_a^2 + c_s^2) / 2, the mean of the squared coefficients of variation of arrivals and work.
        mean_job_h: mean work of a job there [h].

    Source: J. F. C. Kingman (1961), W = rho/(1 - rho) (c_a^2 + c_s^2)/2 t, from memory.
    """
    return utilisation / (1 - utilisation) * squared_variation * mean_job_h


@dataclass(frozen=True)
class Path:
    """The longest way to a part: what it waits for first [calendar days], then working hours with their variance [h, h2]."""

    names: tuple[str, ...]
    wait_days: float
    hours: float
    variance: float

    def weight(self, hours_per_day: float) -> float:
        """Length for comparing paths, in days."""
        return self.wait_days + self.hours / hours_per_day


def lead_time(
    *, routes: Sequence[Route], operations: Mapping[str, Sequence[OperationCost]], materials: Sequence[MaterialCost],
    bought_parts: Sequence[BoughtPart], tooling: Sequence[Tooling], begin: date, rates: Rates,
) -> LeadTime:  # fmt: skip
    """Days from order to shipping, and the path that sets them.

    Notes:
        A part begins when its glass, its tools and the parts it consumes are there; elements run side by side. Each
        operation takes its queue (Kingman) and its own minutes, its batches spread over the stations of the centre. Waiting is taken as exponential, its variance as the
        square of its mean; the sum along the path as log-normal, whose 50 and 90 % points are the two figures. The
        ship date is the 90 % one.
    """
    calendar = WorkingCalendar(rates.calendar)
    per_day = calendar.hours_per_week / 7
    ready = _first_waits(routes, materials, bought_parts, tooling)
    paths: dict[str, Path] = {}
    for route in routes:
        inputs = [ready[route.part], *(paths[consumed.part] for consumed in route.consumes)]
        longest = max(inputs, key=lambda path: path.weight(per_day))
        hours, variance = _time_of(operations[route.part], rates)
        paths[route.part] = Path(
            (*longest.names, route.part), longest.wait_days, longest.hours + hours, longest.variance + variance
        )
    path = paths[routes[-1].part]
    p50_h, p90_h = log_normal_points(mean=path.hours, variance=path.variance)
    start = begin + timedelta(days=math.ceil(path.wait_days))
    p50, p90 = calendar.day_after_hours(start, p50_h), calendar.day_after_hours(start, p90_h)
    return LeadTime(p50_days=(p50 - begin).days, p90_days=(p90 - begin).days, ship_date=p90, critical_path=path.names)


def log_normal_points(*, mean: float, variance: float) -> tuple[float, float]:
    """The 50 % and 90 % points of a log-normal distribution with that mean and variance; both the mean without variance."""
    if mean <= 0 or variance <= 0:
        return mean, mean
    spread = math.sqrt(math.log1p(variance / mean**2))
    middle = math.exp(math.log(mean) - spread**2 / 2)
    return middle, middle * math.exp(Z_90 * spread)


def _first_waits(
    routes: Sequence[Route], materials: Sequence[MaterialCost], bought_parts: Sequence[BoughtPart], tooling: Sequence[Tooling]
) -> dict[str, Path]:
    """What each part waits for from outside: glass for elements, bought parts for the lens, tools for whichever needs them."""
    waits: dict[str, Path] = {route.part: Path((), 0.0, 0.0, 0.0) for route in routes}

    def later(part: str, name: str, days: float) -> None:
        if part in waits and days > waits[part].wait_days:
            waits[part] = Path((name,), days, 0.0, 0.0)

    for material in materials:
        for member in material.model.members:
            later(member, f"glass {material.model.glass}", material.lead_days)
    for tool in tooling:
        later(tool.part, tool.name, tool.lead_days)
    for bought in bought_parts:
        later(routes[-1].part, bought.name, bought.lead_days)
    return waits


def _time_of(costs: Sequence[OperationCost], rates: Rates) -> tuple[float, float]:
    """Working hours of a route [h] and the variance of its waiting [h2]."""
    load = {row.name: row for row in rates.shop_load}
    hours = variance = 0.0
    for cost in costs:
        hours += cost.machine_min / 60 / min(cost.work_centre.stations, max(cost.batches, 1))
        row = load.get(cost.work_centre.name)
        if row is not None and cost.pieces:
            wait = kingman_wait_h(
                utilisation=row.utilisation,
                squared_variation=row.squared_variation,
                mean_job_h=row.mean_job_h / cost.work_centre.stations,
            )
            hours += wait
            variance += wait**2
    return hours, variance
