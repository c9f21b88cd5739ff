"""Figures for whoever watches over the suite, in the text format of Prometheus, at two addresses.

`/metrics` is about the process that answers: its requests and its memory. Ask each process.
`/metrics/suite` is about the suite as a whole, read at that moment where it is true: queues and counts of the stages in
Redis, quotes in PostgreSQL. Every process that serves quoting gives the same answer; ask any one of them, and never add up.
"""

from __future__ import annotations

import asyncio
import logging
import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

import redis
from fastapi import APIRouter, Request, Response
from prometheus_client import CollectorRegistry, Gauge, Histogram, ProcessCollector, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, HistogramMetricFamily, Metric
from prometheus_client.registry import Collector
from sqlalchemy.exc import SQLAlchemyError

from services.chassis.backups_known import backup_age
from services.chassis.checks import Shared
from services.chassis.metrics_of_parts import certificates, database_state, free_space, redis_state, workers
from services.chassis.resources import Resources, apart
from services.chassis.tally import BOUNDS_S
from services.chassis.version import VERSION
from shared_schemas.pipeline import QUEUES, STATIONS

log = logging.getLogger(__name__)
router = APIRouter(tags=["health"])

SCRAPE_WITHIN_S = 5.0
"""Within which a part is to answer; Prometheus gives up after 10 s."""

MEDIA_TYPE = "text/plain; version=0.0.4; charset=utf-8"
DESCRIBED: dict[int | str, dict[str, Any]] = {
    200: {"description": "Lines of the text format", "content": {"text/plain": {"schema": {"type": "string"}}}}
}

Figures = Callable[[Resources], Iterable[Metric]]
"""What the `api` module of a service may offer as `FIGURES`: figures of its own, read when they are asked for."""


class RequestMeter:
    """Requests to this process, by method, route and status. The time is that to the head of the answer."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        ProcessCollector(registry=self.registry)
        Gauge("blankwright_build_info", "The version of this process", ("version",), registry=self.registry).labels(VERSION).set(1)
        self._seconds = Histogram(
            "blankwright_http_request_seconds",
            "Seconds from a request to the head of its answer",
            ("method", "route", "status"),
            buckets=(0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 30, 60),
            registry=self.registry,
        )

    def count(self, request: Request, *, status: int, began: float) -> None:
        """One request that was answered, and came at `began` by the clock of `time.perf_counter`."""
        route = getattr(request.scope.get("route"), "path_format", "none")
        method = request.method if request.method in ("GET", "POST", "PUT", "PATCH", "DELETE", "HEAD", "OPTIONS") else "other"
        self._seconds.labels(method, route, str(status)).observe(time.perf_counter() - began)


class Suite:
    """The whole suite, asked at the moment of the scrape. A part that does not answer in time is said so, and its figures are left out."""

    def __init__(self, resources: Resources, figures: Iterable[Figures]) -> None:
        self._certificates = resources.settings.certificates
        self._folders = resources.settings.watched_folders
        beside = apart(resources, SCRAPE_WITHIN_S)
        self._parts = {
            part: Shared(
                lambda readers=readers: [metric for read in readers for metric in read(beside)],  # type: ignore[misc]
                name=f"figures of {part}",
                deadline_s=SCRAPE_WITHIN_S,
                kept_s=lambda _: 0.5,
            )
            for part, readers in (("redis", OF_REDIS), ("postgresql", (*OF_POSTGRESQL, *figures)))
        }

    async def figures(self) -> list[Metric]:
        """Every figure."""
        found = await asyncio.gather(*(shared.answer() for shared in self._parts.values()), return_exceptions=True)
        answers = GaugeMetricFamily(
            "blankwright_part_answers", "Whether a part that figures are read from answers", labels=["part"]
        )
        told: list[Metric] = [answers, *certificates(self._certificates), *free_space(self._folders)]
        for part, metrics_or_fault in zip(self._parts, found, strict=True):
            if isinstance(metrics_or_fault, BaseException):
                if not isinstance(metrics_or_fault, (redis.RedisError, SQLAlchemyError, TimeoutError)):
                    raise metrics_or_fault
                log.warning("figures left out", extra={"part": part, "why": str(metrics_or_fault) or "no answer in time"})
            else:
                told += metrics_or_fault
            answers.add_metric([part], not isinstance(metrics_or_fault, BaseException))
        return told


class _Read(Collector):
    def __init__(self, metrics: list[Metric]) -> None:
        self._metrics = metrics

    def collect(self) -> Iterator[Metric]:
        yield from self._metrics


def queue_depths(resources: Resources) -> Iterator[Metric]:
    """Messages in each queue that no worker has taken yet."""
    depth = GaugeMetricFamily("blankwright_queue_depth", "Messages that no worker has taken yet", labels=["queue"])
    for queue in QUEUES:
        depth.add_metric([queue], resources.waiting(queue))
    yield depth


def stage_counts(resources: Resources) -> Iterator[Metric]:
    """Times of the stages as a histogram, and how often they were tried again."""
    counts = resources.tally.read()
    yield _stage_seconds(counts)
    retries = CounterMetricFamily(
        "blankwright_retries", "Runs of a stage that were tries after a fault of the ways", labels=["stage"]
    )
    for station in STATIONS:
        retries.add_metric([station.service], counts.get(f"retries|{station.service}", 0.0))
    yield retries


def _stage_seconds(counts: Mapping[str, float]) -> HistogramMetricFamily:
    family = HistogramMetricFamily("blankwright_stage_seconds", "Seconds that one run of a stage took", labels=["stage", "outcome"])
    runs: dict[tuple[str, str], dict[str, float]] = defaultdict(dict)
    for name, count in counts.items():
        kind, *of = name.split("|")
        if kind == "runs":
            stage, outcome, class_ = of
            runs[stage, outcome][class_] = count
    for (stage, outcome), in_class in sorted(runs.items()):
        buckets, so_far = [], 0.0
        for bound in BOUNDS_S:
            so_far += in_class.get(str(bound), 0.0)
            buckets.append((str(bound), so_far))
        buckets.append(("+Inf", so_far + in_class.get("more", 0.0)))
        family.add_metric([stage, outcome], buckets, counts.get(f"seconds|{stage}|{outcome}", 0.0))
    return family


OF_REDIS: tuple[Figures, ...] = (queue_depths, stage_counts, workers, redis_state)
OF_POSTGRESQL: tuple[Figures, ...] = (database_state, backup_age)


@router.get("/metrics", summary="Figures of this process, for Prometheus", response_class=Response, responses=DESCRIBED)
async def get_metrics(request: Request) -> Response:
    return Response(generate_latest(request.app.state.meter.registry), media_type=MEDIA_TYPE)


@router.get("/metrics/suite", summary="Figures of the whole suite, for Prometheus", response_class=Response, responses=DESCRIBED)
async def get_suite_metrics(request: Request) -> Response:
    suite: Suite = request.app.state.suite
    registry = CollectorRegistry()
    registry.register(_Read(await suite.figures()))
    return Response(generate_latest(registry), media_type=MEDIA_TYPE)
