"""Why a date is what it is: the path that sets it, the queues on it, and the working hours of its two points."""

from __future__ import annotations

from collections.abc import Iterator

from services.optics.law import column, figure_of, given
from services.quoting.explain.quantity import Quantity
from services.quoting.promise.flow import Step, jobs_per_h, jobs_waiting, kingman_wait_h
from services.quoting.promise.lead_time import late_h, log_normal_spread, median_h, shared
from shared_schemas.figure import Figure
from shared_schemas.rates import Rates, ShopLoadRow

BY_CALENDAR = "wait_days, then the working hours counted out on the calendar of the shop"


def lead_time_figures(quantity: Quantity) -> Iterator[Figure]:
    """The days of one quantity, down to the rate rows of the queues that its parts stand in."""
    schedule = quantity.evaluation.schedule
    path = schedule.path
    mean = Figure(
        name="mean_h", value=path.span.hours, unit="h", source="waits and work along the critical path, batches moving on as they are done",
        inputs=tuple(_queues(quantity)),
    )  # fmt: skip
    variance = given(
        "variance_h2", path.span.variance, "h2", source="squared waits along the critical path, a wait being exponential"
    )
    spread = figure_of(log_normal_spread, name="spread", mean_h=mean, variance_h2=variance) if path.span.hours > 0 else given(
        "spread", 0.0, source="nothing to wait for and nothing to do"
    )  # fmt: skip
    median = figure_of(
        median_h, name="median_h", mean_h=given("mean_h", path.span.hours, "h", source="the mean of spread"), spread=spread
    )
    late = figure_of(late_h, name="late_h", median_h=median, spread=given("spread", spread.value, source="the spread of median_h"))
    wait = given(
        "wait_days", path.wait_days, "days", source="lead days of the glass, tool or bought part that the path begins with"
    )
    for name, days, hours in (("p50_days", schedule.lead_time.p50_days, median), ("p90_days", schedule.lead_time.p90_days, late)):
        yield Figure(name=f"lead_time {name}", value=days, unit="days", source=BY_CALENDAR, inputs=(wait, hours))


def _queues(quantity: Quantity) -> Iterator[Figure]:
    """One wait for each work centre that a part of the critical path goes to."""
    on_path = set(quantity.evaluation.lead_time.critical_path)
    steps: dict[str, Step] = {}
    for route in quantity.evaluation.made.routes:
        for step in quantity.evaluation.schedule.steps[route.part]:
            if route.part in on_path or shared(step.work_centre.name) in on_path:
                steps.setdefault(step.work_centre.name, step)
    for name, step in steps.items():
        if step.load is not None:
            yield from _queue(name, step, step.load)


def _queue(name: str, step: Step, load: ShopLoadRow) -> Iterator[Figure]:
    row = Rates.ref("shop_load", load)
    utilisation = column("utilisation", load.utilisation, "", row)
    job = column("mean_job_h", load.mean_job_h, "h", row)
    stations = column("stations", step.work_centre.stations, "", Rates.ref("work_centres", step.work_centre))
    wait = figure_of(
        kingman_wait_h, name=f"wait at {name}", utilisation=utilisation, stations=stations, mean_job_h=job,
        squared_variation=column("squared_variation", load.squared_variation, "", row),
    )  # fmt: skip
    yield wait
    if load.mean_job_h:
        arriving = figure_of(jobs_per_h, utilisation=utilisation, stations=stations, mean_job_h=job)
        yield figure_of(
            jobs_waiting, name=f"jobs waiting at {name}", jobs_per_h=arriving,
            wait_h=given("wait_h", wait.value, "h", source="the wait above"),
        )  # fmt: skip
