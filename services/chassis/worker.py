"""A worker process: the Celery application with the tasks of the services that the settings name.

Start with `celery -A services.chassis.worker worker -Q <queues>`. Workers are synchronous: no asyncio in a task.
"""

from __future__ import annotations

import gc
import logging
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from typing import Any

from celery import Celery, Task
from celery.exceptions import SoftTimeLimitExceeded
from celery.signals import celeryd_after_setup, worker_process_init, worker_process_shutdown
from celery.worker.request import Request

from services.chassis import tracing
from services.chassis.celery_logs import speak_json
from services.chassis.heartbeat import own_queue
from services.chassis.life import Life
from services.chassis.logs import bind, set_up_logs
from services.chassis.pipeline import (
    MOST_RETRIES,
    TRANSPORT_FAULTS,
    Stage,
    StageStarved,
    Terminus,
    end_in_time,
    hop,
    leave,
    retry_wait_s,
)
from services.chassis.queue import LARGE_SOFT_LIMIT_S, SOFT_LIMIT_S, queue_app
from services.chassis.resources import Resources, resources
from services.chassis.settings import Settings, settings
from shared_schemas.pipeline import HEARTBEAT_TASK, LARGE_QUEUE, LAST, STATIONS, TASKS, WITH_WORKERS, Station

log = logging.getLogger(__name__)

ITS_TIME_SHARE = 0.5
"""Of a stage's time limit it must have had so much of a processor, before the limit is a verdict on the quote."""

CYCLES_LOOKED_FOR_AFTER = (20_000, 20, 50)
"""Objects, and rounds among younger ones, after which Python looks for cycles. A traveller is some hundred thousand small objects
without any: with the common figures (700, 10, 10) a quarter of a worker's time goes into looking."""


def worker_app(chosen: Settings) -> Celery:
    """A Celery application with the tasks of `chosen.services`."""
    app = queue_app(chosen, TASKS)
    for name in chosen.services:
        if name in WITH_WORKERS:
            module = import_module(f"services.{name}.stage")
            register(app, module)
    _register_heartbeat(app)
    app.steps["worker"].add(Life)
    return app


def register(app: Celery, module: Any) -> None:
    """Register what a `stage` module offers: `STAGE`, or `TERMINUS` with its periodic tasks in `PERIODIC`."""
    if hasattr(module, "STAGE"):
        _register_stage(app, module.STAGE)
    if hasattr(module, "TERMINUS"):
        _register_terminus(app, module.TERMINUS)
    for task, run in getattr(module, "PERIODIC", {}).items():
        _register_periodic(app, task, run)


def _register_stage(app: Celery, stage: Stage) -> None:
    @app.task(name=stage.task, bind=True, shared=False, max_retries=MOST_RETRIES, Request=TimedRequest)
    def task(self: Task, number: str, attempt: int, trace: str) -> None:
        tools = resources(queue=app)
        try:
            with at_work(self, stage.station, number, attempt, trace, tools) as work, ended_in_time(self, tools):
                work.outcome = hop(stage, number, attempt, trace, tools, large=is_large(self))
        except TRANSPORT_FAULTS as fault:
            if self.request.retries < MOST_RETRIES:
                raise self.retry(exc=fault, countdown=retry_wait_s(self.request.retries)) from fault
            leave(stage, number, attempt, tools, fault=fault)


def _register_terminus(app: Celery, terminus: Terminus) -> None:
    @app.task(name=terminus.task, bind=True, shared=False, max_retries=MOST_RETRIES, Request=TimedRequest)
    def task(self: Task, number: str, attempt: int, trace: str) -> None:
        tools = resources(queue=app)
        try:
            with at_work(self, LAST, number, attempt, trace, tools) as work, ended_in_time(self, tools):
                work.outcome = terminus.arrive(number, attempt, tools)
        except TRANSPORT_FAULTS as fault:
            # Past the last retry the traveller stays where it is, and the sweeper starts the quote again.
            raise self.retry(exc=fault, countdown=retry_wait_s(self.request.retries)) from fault


def is_large(task: Task) -> bool:
    """Whether the message that is being worked on came through the queue of much work."""
    return (task.request.delivery_info or {}).get("routing_key") == LARGE_QUEUE


@contextmanager
def ended_in_time(task: Task, tools: Resources) -> Iterator[None]:
    """Work that is told to end at its limit ends in a verdict, not in another try: it would take as long again.

    Unless it had less than half of a processor all the while, and so never had its time: then it is tried again, as after a fault of the ways.
    """
    large = is_large(task)
    limit_s = LARGE_SOFT_LIMIT_S if large else SOFT_LIMIT_S
    began_s = time.process_time()
    try:
        yield
    except SoftTimeLimitExceeded as fault:
        worked_s = time.process_time() - began_s
        if worked_s < ITS_TIME_SHARE * limit_s:
            raise StageStarved(f"it worked for {worked_s:.1f} s of {limit_s} s") from fault
        record_verdict(task, task.request.args, tools, limit_s=limit_s, large=large)


def record_verdict(task: Task, given: Sequence[Any], tools: Resources, *, limit_s: float, large: bool) -> None:
    """Have it recorded that the stage which `task` does took too long with what it was `given`."""
    number, attempt, trace = given
    stage = next(station.service for station in STATIONS if station.task == task.name)
    log.warning("stage took too long", extra={"number": number, "stage": stage, "limit_s": limit_s})
    end_in_time(stage, number, attempt, trace, tools, limit_s=limit_s, large=large)


class TimedRequest(Request):
    """A message whose task may have to be ended from outside, where it does not hear that its time is over."""

    def on_timeout(self, soft: bool, timeout: float) -> None:
        """Called in the worker's own process, before the child is ended."""
        super().on_timeout(soft, timeout)
        if not soft:
            large = (self.delivery_info or {}).get("routing_key") == LARGE_QUEUE
            try:
                record_verdict(self.task, self.args, resources(queue=self.app), limit_s=timeout, large=large)
            except TRANSPORT_FAULTS as fault:
                log.warning("verdict left to the sweeper", extra={"why": str(fault)})


@dataclass
class Work:
    """One run of a stage; `outcome` is a word for how it went."""

    outcome: str = "cut_short"


@contextmanager
def at_work(task: Task, here: Station, number: str, attempt: int, trace: str, tools: Resources) -> Iterator[Work]:
    """What every run of a stage carries: names in each line of the log, a span in the trace of its quote, and its count."""
    bind(number=number, attempt=attempt, trace=trace)
    work = Work()
    began = time.perf_counter()
    try:
        with tracing.span(
            here.task,
            trace_id=trace,
            below=task.request.get("traceparent"),
            number=number,
            attempt=attempt,
            tries=task.request.retries,
        ):
            yield work
    finally:
        seconds = time.perf_counter() - began
        log.info("stage done", extra={"stage": here.service, "outcome": work.outcome, "seconds": round(seconds, 4)})
        tools.tally.stage(here.service, work.outcome, seconds)
        if task.request.retries:
            tools.tally.retry(here.service)


def _register_heartbeat(app: Celery) -> None:
    @app.task(name=HEARTBEAT_TASK, shared=False)
    def task() -> None:
        """Nothing: that a child begins it is what it is for."""


def _register_periodic(app: Celery, name: str, run: Callable[[Resources], None]) -> None:
    @app.task(name=name, shared=False)
    def task(*doorbell: object) -> None:
        """Rung by the beat, or by whoever has something for it: what that is, it finds by itself."""
        run(resources(queue=app))


@celeryd_after_setup.connect
def _a_queue_of_its_own(sender: str, instance: Any, **_: Any) -> None:
    """Each worker also consumes a queue that only it knows, for its proof of life; `sender` is the worker's own name."""
    instance.app.amqp.queues.select_add(own_queue(sender))


@worker_process_init.connect
def _a_child_starts_clean(**_: Any) -> None:
    """After the fork: logs of its own; engine and clients are made by this child on first use."""
    gc.set_threshold(*CYCLES_LOOKED_FOR_AFTER)
    set_up_logs(settings().log_level)


@worker_process_shutdown.connect
def _a_child_leaves_nothing_unsaid(**_: Any) -> None:
    """Before the end of a child, which has no last rites."""
    tracing.flush()


def __getattr__(name: str) -> Any:
    """The application that `celery -A services.chassis.worker` looks for, built when it is asked for."""
    if name in ("app", "celery"):
        speak_json()
        app = worker_app(settings())
        globals()["app"] = globals()["celery"] = app
        return app
    raise AttributeError(name)
