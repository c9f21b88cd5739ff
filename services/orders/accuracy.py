"""How true quotes came, by the orders that are finished: a report, its table and its charts."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date
from threading import Lock

from cachetools import LRUCache

from services.chassis.database import Database
from services.chassis.resources import Resources
from services.orders.domain.accuracy import METHOD, JobFigures, Pair, figures_of, groups_of, shown
from services.orders.domain.accuracy_chart import MOST_POINTS, Chart, job_chart, ratio_chart
from services.orders.store.actuals import Reported
from services.orders.store.job_figures import JobFigureStore
from shared_schemas.accuracy import GROUPINGS, MEASURES, MOST_JOBS, Accuracy, AccuracyGroup, GroupedBy, Measure, MeasuredAccuracy
from shared_schemas.csv_cells import guarded

READS_WITHIN_S = 3.0
"""So long one answer reads orders that are new or have changed, some milliseconds each; the others are counted as not read yet."""
HEADS = (
    "by",
    "name",
    "measure",
    "jobs",
    "mape_percent",
    "median_ratio",
    "ratio_p25",
    "ratio_p75",
    "p80_jobs",
    "p80_share",
    "p80_low",
    "p80_high",
    "remark",
)


@dataclass(frozen=True)
class Told:
    """Finished jobs put together; `points` are the newest of each measure."""

    unreported: int
    whole: AccuracyGroup
    groups: Mapping[GroupedBy, tuple[AccuracyGroup, ...]]
    points: Mapping[Measure, tuple[Pair, ...]]


_kept: LRUCache[tuple[Database, int, date | None, date | None], Told] = LRUCache(8)
_lock = Lock()


def accuracy(resources: Resources, *, since: date | None, until: date | None) -> Accuracy:
    """The report of orders that were finished within these days."""
    told, counts = _told(resources, since, until), JobFigureStore(resources.database).counts()
    given = {kind: shown(kind, told.groups[kind]) for kind in GROUPINGS}
    return Accuracy(
        since=since,
        until=until,
        jobs=told.whole.jobs,
        unfinished=counts.unfinished,
        cancelled=counts.cancelled,
        unreported=told.unreported,
        unread=counts.unread,
        method=METHOD,
        whole=told.whole,
        by_month=given["month"],
        by_customer=given["customer"],
        by_operation=given["operation"],
        by_work_centre=given["work_centre"],
        left_out={kind: len(told.groups[kind]) - len(given[kind]) for kind in GROUPINGS},
    )


def accuracy_chart(resources: Resources, chart: Chart, measure: Measure, *, since: date | None, until: date | None) -> str:
    """One of its charts, as SVG."""
    told = _told(resources, since, until)
    if chart == "quoted_against_actual":
        return job_chart(measure, told.points[measure])
    return ratio_chart(chart, measure, told.groups[chart])


def _told(resources: Resources, since: date | None, until: date | None) -> Told:
    """Finished jobs put together, kept in memory while no note of them has changed: who reads the report asks for its charts next."""
    store = JobFigureStore(resources.database)
    store.bring_up_to_date(_figures, within_s=READS_WITHIN_S)
    key = (resources.database, store.last_note(), since, until)
    with _lock:
        if key in _kept:
            return _kept[key]
    told = _read(store.finished(since=since, until=until, most=MOST_JOBS))
    with _lock:
        return _kept.setdefault(key, told)


def _read(jobs: Iterable[JobFigures]) -> Told:
    """Finished jobs put together, each looked at once."""
    unreported = 0
    points: dict[Measure, list[Pair]] = {measure: [] for measure in MEASURES}

    def reported() -> Iterator[JobFigures]:
        nonlocal unreported
        for one in jobs:
            for measure, pair in one.job.items():
                if len(points[measure]) < MOST_POINTS:
                    points[measure].append(pair)
            if one.job:
                yield one
            else:
                unreported += 1

    whole, groups = groups_of(reported())
    return Told(unreported, whole, groups, {measure: tuple(pairs) for measure, pairs in points.items()})


def _figures(reported: Reported) -> JobFigures | None:
    stored = reported.stored
    if stored.state == "cancelled":
        return None
    completed_on = stored.state_at.astimezone(UTC).date() if stored.state == "completed" else None
    return figures_of(stored.order, reported.actuals, completed_on=completed_on)


def accuracy_csv(report: Accuracy) -> str:
    """A report as a table: a line for each measure of each group."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(HEADS)
    for kind, group in _groups(report):
        writer.writerows([kind, guarded(group.name), *_cells(one)] for one in group.measures)
    return out.getvalue()


def _groups(report: Accuracy) -> Iterator[tuple[GroupedBy | str, AccuracyGroup]]:
    yield "all", report.whole
    for kind in GROUPINGS:
        yield from ((kind, group) for group in getattr(report, f"by_{kind}"))


def _cells(one: MeasuredAccuracy) -> list[object]:
    inside = one.inside_p80
    figures = [one.mape_percent, one.median_ratio, one.ratio_p25, one.ratio_p75]
    figures += [inside.jobs, inside.share, inside.low, inside.high] if inside else [None] * 4
    return [one.measure, one.jobs, *("" if figure is None else figure for figure in figures), one.remark]
