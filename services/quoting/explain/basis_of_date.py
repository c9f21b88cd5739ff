"""Why a date is what it is: the path that sets it, the queues on it, and the working hours of its two points."""

from __future__ import annotations

from services.quoting.pricing.evaluation import Evaluation, Plans
from services.quoting.promise.flow import Step, jobs_waiting
from services.quoting.promise.lead_time import log_normal_spread
from shared_schemas.figure import Figure
from shared_schemas.rates import Rates

WAIT = "V x t x rho^(sqrt(2 x (m + 1)) - 1) / (m x (1 - rho))"
SPREAD = "sqrt(ln(1 + variance_h2 / mean_h^2))"


def lead_time_figure(found: Evaluation, plans: Plans) -> Figure:
    """The days of one quantity, down to the rate rows of the queues that its parts stand in."""
    path = found.schedule.path
    mean = Figure(
        name="mean_h",
        value=path.span.hours,
        unit="h",
        formula="waiting and work along the critical path, batches moving on as they are done",
    )
    variance = Figure(
        name="variance_h2", value=path.span.variance, unit="h2", formula="sum of the squared waits along the critical path"
    )
    wait = Figure(
        name="wait_days",
        value=path.wait_days,
        unit="days",
        formula="lead days of the glass, tool or bought part that the path begins with",
    )
    s = Figure(
        name="s",
        value=log_normal_spread(mean=path.span.hours, variance=path.span.variance),
        formula=SPREAD,
        inputs=(mean, variance),
        source="the sum of the waits taken as log-normal",
    )
    middle = Figure(name="p50_h", value=found.schedule.p50_h, unit="h", formula="mean_h x exp(-s^2 / 2)", inputs=(mean, s))
    late = Figure(name="p90_h", value=found.schedule.p90_h, unit="h", formula="p50_h x exp(1.2815516 x s)", inputs=(middle, s))
    return Figure(
        name="lead_time",
        value=found.lead_time.p50_days,
        unit="days",
        formula="wait_days, then p50_h (p90_h for the ship date) of working hours by the calendar",
        inputs=(wait, middle, late, *_queues(found, plans)),
    )


def _queues(found: Evaluation, plans: Plans) -> tuple[Figure, ...]:
    """One wait for each work centre that a part of the critical path goes to."""
    named = set(found.lead_time.critical_path)
    seen: dict[str, Step] = {}
    for route in plans.routes:
        for step in found.schedule.steps[route.part]:
            if route.part in named or f"{step.work_centre.name}, shared by all parts" in named:
                seen.setdefault(step.work_centre.name, step)
    return tuple(_queue(name, step) for name, step in seen.items() if step.load is not None)


def _queue(name: str, step: Step) -> Figure:
    load, centre = step.load, step.work_centre
    assert load is not None
    row = Rates.ref("shop_load", load)
    rho = Figure(name="rho", value=load.utilisation, rate_row=row)
    t = Figure(name="t", value=load.mean_job_h, unit="h", rate_row=row)
    m = Figure(name="m", value=centre.stations, rate_row=Rates.ref("work_centres", centre))
    arriving = load.utilisation * centre.stations / load.mean_job_h if load.mean_job_h else 0.0
    return Figure(
        name=f"wait at {name}"[:60],
        value=step.wait_h,
        unit="h",
        formula=WAIT,
        inputs=(
            rho,
            Figure(name="V", value=load.squared_variation, rate_row=row),
            t,
            m,
            Figure(
                name="jobs waiting",
                value=jobs_waiting(wait_h=step.wait_h, jobs_per_h=arriving),
                formula="wait x rho x m / t",
                inputs=(Figure(name="wait", value=step.wait_h, unit="h", source="the wait itself"), rho, m, t),
            ),
        ),
    )
