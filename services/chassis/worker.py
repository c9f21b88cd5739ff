"""A worker process: the Celery application with the tasks of the services that the settings name.

Start with `celery -A services.chassis.worker worker -Q <queues>`. Workers are synchronous: no asyncio in a task.
"""

from __future__ import annotations

import gc
import logging
import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import redis
from celery import Celery, Task, bootsteps
from celery.exceptions import SoftTimeLimitExceeded
from celery.signals import celeryd_after_setup, worker_process_init, worker_process_shutdown

from services.chassis import tracing
from services.chassis.heartbeat import HEARTBEAT_EVERY_S, LONGEST_SILENCE_S, SIGN_LIVES_S, Pulse, beat_once, own_queue, sign_of
from services.chassis.logs import bind, set_up_logs
from services.chassis.pipeline import MOST_RETRIES, TRANSPORT_FAULTS, Stage, Terminus, give_up, hop, leave, retry_wait_s
from services.chassis.queue import queue_app
from services.chassis.resources import Resources, resources
from services.chassis.settings import Settings, settings
from shared_schemas.pipeline import HEARTBEAT_TASK, LAST, TASKS, WITH_WORKERS, Station

log = logging.getLogger(__name__)

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
    app.steps["worker"].add(Heartbeat)
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
    @app.task(name=stage.task, bind=True, shared=False, max_retries=MOST_RETRIES)
    def task(self: Task, number: str, attempt: int, trace: str) -> None:
        tools = resources(queue=app)
        try:
            with at_work(self, stage.station, number, attempt, trace, tools) as work:
                work.outcome = hop(stage, number, attempt, trace, tools)
        except TRANSPORT_FAULTS as fault:
            if self.request.retries < MOST_RETRIES:
                raise self.retry(exc=fault, countdown=retry_wait_s(self.request.retries)) from fault
            if isinstance(fault, SoftTimeLimitExceeded):
                give_up(stage, number, attempt, trace, tools, fault=fault)
            else:
                leave(stage, number, attempt, tools, fault=fault)


def _register_terminus(app: Celery, terminus: Terminus) -> None:
    @app.task(name=terminus.task, bind=True, shared=False, max_retries=MOST_RETRIES)
    def task(self: Task, number: str, attempt: int, trace: str) -> None:
        tools = resources(queue=app)
        try:
            with at_work(self, LAST, number, attempt, trace, tools) as work:
                work.outcome = terminus.arrive(number, attempt, tools)
        except TRANSPORT_FAULTS as fault:
            # Past the last retry the traveller stays where it is, and the sweeper starts the quote again.
            raise self.retry(exc=fault, countdown=retry_wait_s(self.request.retries)) from fault


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
    @app.task(name=HEARTBEAT_TASK, bind=True, shared=False)
    def task(self: Task) -> None:
        """Beat, and say so where every process of the suite can read it; done by a child, so that a frozen one goes silent."""
        beat_once()
        tools = resources(queue=app)
        with suppress(redis.RedisError):
            services = ",".join(tools.settings.services)
            tools.redis.set(sign_of(tools.settings.deployment, str(self.request.hostname)), services, ex=SIGN_LIVES_S)


def _register_periodic(app: Celery, name: str, run: Callable[[Resources], None]) -> None:
    @app.task(name=name, shared=False)
    def task(*doorbell: object) -> None:
        """Rung by the beat, or by whoever has something for it: what that is, it finds by itself."""
        run(resources(queue=app))


@celeryd_after_setup.connect
def _a_queue_of_its_own(sender: str, instance: Any, **_: Any) -> None:
    """Each worker also consumes a queue that only it knows, for its heartbeat; `sender` is the worker's own name."""
    instance.app.amqp.queues.select_add(own_queue(sender))


class Heartbeat(bootsteps.StartStopStep):
    """Sends this worker a task through its own queue every few seconds; running it touches the file the health check reads.

    A worker that is heard no longer although the broker takes what it sends has ceased to consume. It ends itself, and
    whoever keeps it alive starts another.
    """

    requires = ("celery.worker.components:Timer",)

    def start(self, worker: Any) -> None:
        """Begin to beat."""
        self._pulse = Pulse()
        worker.timer.call_after(1.0, self._send, (worker,))
        self._timer = worker.timer.call_repeatedly(HEARTBEAT_EVERY_S, self._send, (worker,))

    def stop(self, worker: Any) -> None:
        """Stop beating."""
        self._timer.cancel()

    def _send(self, worker: Any) -> None:
        try:
            worker.app.send_task(HEARTBEAT_TASK, queue=own_queue(worker.hostname), expires=2 * HEARTBEAT_EVERY_S)
        except TRANSPORT_FAULTS as fault:
            log.warning("no heartbeat sent", extra={"why": str(fault)})
            self._pulse = Pulse()
        else:
            if self._pulse.silence_s() > LONGEST_SILENCE_S:
                log.critical("this worker consumes nothing any more; it ends, to be started again")
                os._exit(1)


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
        set_up_logs(settings().log_level)
        app = worker_app(settings())
        globals()["app"] = globals()["celery"] = app
        return app
    raise AttributeError(name)
