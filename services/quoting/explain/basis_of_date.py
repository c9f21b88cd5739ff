"""Why a date is what it is: the draws, what takes the days of the path that decides, and the wait at each work centre on it."""

from __future__ import annotations

from collections.abc import Iterator

from services.optics.law import column, figure_of, given
from services.quoting.explain.quantity import Quantity
from services.quoting.promise.flow import LEAST_MET, MUCH_H, behind_others_h
from services.quoting.promise.waits import (
    FULLEST,
    WEEKS_KNOWN,
    CentreWaits,
    erlang_wait_share,
    job_h,
    jobs_per_h,
    jobs_waiting,
    known_share,
    load_of_queue,
    load_of_week,
    mean_wait_h,
    wait_of_those_h,
)
from services.quoting.risk.orders import DATED
from shared_schemas.figure import Figure
from shared_schemas.rates import Rates

BY_DRAWS = f"so large a share of {DATED} draws of the whole job is done by then: every path, wait and lot made again, counted out on the calendar of the shop"
CALIBRATED = "calibrated against simulated shops"
POINTS = (("p50_days", 0.5), ("p80_days", 0.8), ("p90_days", 0.9))


def lead_time_figures(quantity: Quantity) -> Iterator[Figure]:
    """The days of one quantity, down to the rate rows of the work centres that its path goes to."""
    schedule = quantity.evaluation.schedule
    by_waits = tuple(_waits(quantity))
    by_the_same = (given("p50_days", schedule.p50_days, "days", at=quantity.at("lead_time", "p50_days")),)
    for name, share in POINTS:
        hours = Figure(
            name="hours", value=schedule.hours(share), unit="h", source=BY_DRAWS,
            inputs=(given("share", share, source=f"what {name} means"), *(by_waits if name == "p50_days" else by_the_same)),
        )  # fmt: skip
        value = getattr(schedule.lead_time, name)
        yield Figure(
            name=f"lead_time {name}", value=value, unit="days", source="working hours counted out on the calendar of the shop", inputs=(hours,)
        )  # fmt: skip
    yield from _deciding(quantity)
    yield Figure(
        name="lead_time remake_chance", value=schedule.lead_time.remake_chance or 0.0,
        source="share of the draws in which the lot of some part is short; as enough_chance, of a thousand draws",
        inputs=tuple(
            given(part, one.chance, source="share of the draws in which this lot is short") for part, one in schedule.shortfalls.items()
        ),
    )  # fmt: skip


def _deciding(quantity: Quantity) -> Iterator[Figure]:
    """What decides the day: how often, and how many of its days."""
    for number, one in enumerate(quantity.evaluation.lead_time.decided_by):
        what = given("what", f"{one.part}, {one.name}", source="an operation, a delivery, or what is made again")
        yield Figure(
            name=f"lead_time decided_by {number} days", value=one.days, unit="days", inputs=(what,),
            source="mean days of the path done last that are its own, its wait counted in, over all draws",
        )  # fmt: skip
        yield Figure(
            name=f"lead_time decided_by {number} share", value=one.share, inputs=(what,),
            source="share of the draws in which it lies on the path done last",
        )  # fmt: skip


def _waits(quantity: Quantity) -> Iterator[Figure]:
    """One wait for each work centre that a part on the path goes to, when it first comes there."""
    schedule = quantity.evaluation.schedule
    seen: set[str] = set()
    for name, part in schedule.network.parts.items():
        if not schedule.network.on_path[name].any():
            continue
        for step, ready_h in zip(part.steps, part.passage.ready_h, strict=True):
            centre = step.work_centre.name
            if centre in seen:
                continue
            seen.add(centre)
            waits = schedule.shop.waits.at(centre)
            if waits is not None:
                yield from _queue(centre, waits, ready_h)
            others_h = sum(
                max((one.borne_h for one in other.steps if one.work_centre.name == centre), default=0.0)
                for key, other in schedule.network.parts.items()
                if key != name
            )
            if others_h > 0:
                yield figure_of(
                    behind_others_h, name=f"behind others at {centre}",
                    others_h=given("others_h", others_h, "h", source="the longest visit of each other part of the order"),
                    stations=column("stations", step.work_centre.stations, "", Rates.ref("work_centres", step.work_centre)),
                    least_met=given("least_met", LEAST_MET, source=CALIBRATED),
                    much_h=given("much_h", MUCH_H, "h", source=CALIBRATED),
                )  # fmt: skip


def _queue(name: str, waits: CentreWaits, ready_h: float) -> Iterator[Figure]:
    row, at_centre = Rates.ref("shop_load", waits.row), Rates.ref("work_centres", waits.centre)
    here = ([one for one in waits.weeks if one.begins_h <= ready_h] or waits.weeks[:1])[-1]
    usual = column("usual", waits.row.utilisation, "", row)
    if len(waits.weeks) > 1:
        load = figure_of(
            load_of_week, name="load", usual=usual, booked_share=column("booked_share", waits.row.booked_share, "", row),
            known_share=figure_of(
                known_share,
                weeks_ahead=given("weeks_ahead", float(here.ahead), source="the week in which the first part comes there"),
                weeks_known=given("weeks_known", float(WEEKS_KNOWN), source="a quarter of a year (common practice range)"),
            ),
            booked_h=given("booked_h", here.booked_h, "h", source="the book of load that the quote is dated by"),
            capacity_h=given("capacity_h", here.capacity_h, "h", source="hours of all stations in that week"),
        )  # fmt: skip
    else:
        load = usual
    used = figure_of(
        load_of_queue, name="utilisation", load=load, usual=usual,
        fullest=given("fullest", FULLEST, source="booked work beyond it waits in its week until there is room"),
    )  # fmt: skip
    stations = column("stations", waits.centre.stations, "", at_centre)
    share = figure_of(erlang_wait_share, stations=stations, utilisation=used)
    job = figure_of(
        job_h, name="mean_job_h", unit="h", mean_job_h=column("mean_job_h", waits.row.mean_job_h, "h", row),
        pace=given("pace", waits.pace, source=f"hours of a station in one of the calendar, of its {waits.centre.shifts} shifts"),
    )  # fmt: skip
    those = figure_of(
        wait_of_those_h, utilisation=used, stations=stations, mean_job_h=job,
        squared_variation=column("squared_variation", waits.row.squared_variation, "", row),
    )  # fmt: skip
    wait = figure_of(
        mean_wait_h, name=f"wait at {name}", waiting_share=share, wait_of_those_h=those,
        unknown_share=given("unknown_share", here.unknown_share, source="how much of the usual load of that week is not in the book"),
    )  # fmt: skip
    yield wait
    if here.behind_h > 0:
        yield given(
            f"work before {name}",
            here.behind_h,
            "h",
            source="hours that the book has beyond what the weeks before hold, of all stations",
        )
    if waits.row.mean_job_h:
        arriving = figure_of(jobs_per_h, utilisation=used, stations=stations, mean_job_h=job)
        yield figure_of(
            jobs_waiting, name=f"jobs waiting at {name}", jobs_per_h=arriving,
            wait_h=given("wait_h", wait.value, "h", source="the wait above"),
        )  # fmt: skip
