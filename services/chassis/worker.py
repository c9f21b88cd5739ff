"""A worker process: the Celery application with the tasks of the services that the settings name.

Start with `celery -A services.chassis.worker worker -Q <queues>`. Workers are synchronous: no asyncio in a task.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from importlib import import_module
from typing import Any

from celery import Celery, Task, bootsteps
from celery.signals import celeryd_after_setup, worker_process_init

from services.chassis.heartbeat import HEARTBEAT_EVERY_S, beat_once, own_queue
from services.chassis.logs import bind, set_up_logs
from services.chassis.pipeline import MOST_RETRIES, TRANSPORT_FAULTS, Stage, Terminus, give_up, hop, retry_wait_s
from services.chassis.queue import queue_app
from services.chassis.resources import Resources, resources
from services.chassis.settings import Settings, settings
from shared_schemas.pipeline import HEARTBEAT_TASK, STATIONS, TASKS

log = logging.getLogger(__name__)


def worker_app(chosen: Settings) -> Celery:
    """A Celery application with the tasks of `chosen.services`."""
    app = queue_app(chosen, TASKS)
    workers = {station.service for station in STATIONS}
    for name in chosen.services:
        if name in workers:
            module = import_module(f"services.{name}.stage")
            register(app, module)
    _register_periodic(app, HEARTBEAT_TASK, lambda _: beat_once())
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
    @app.task(name=stage.task, bind=True, max_retries=MOST_RETRIES)
    def task(self: Task, number: str, attempt: int, trace: str) -> None:
        bind(number=number, attempt=attempt, trace=trace)
        tools = resources(queue=app)
        try:
            hop(stage, number, attempt, trace, tools)
        except TRANSPORT_FAULTS as fault:
            if self.request.retries >= MOST_RETRIES:
                give_up(stage, number, attempt, trace, tools, fault=fault)
            else:
                raise self.retry(exc=fault, countdown=retry_wait_s(self.request.retries)) from fault


def _register_terminus(app: Celery, terminus: Terminus) -> None:
    @app.task(name=terminus.task, bind=True, max_retries=MOST_RETRIES)
    def task(self: Task, number: str, attempt: int, trace: str) -> None:
        bind(number=number, attempt=attempt, trace=trace)
        try:
            terminus.arrive(number, attempt, resources(queue=app))
        except TRANSPORT_FAULTS as fault:
            # Past the last retry the traveller stays where it is, and the sweeper starts the quote again.
            raise self.retry(exc=fault, countdown=retry_wait_s(self.request.retries)) from fault


def _register_periodic(app: Celery, name: str, run: Callable[[Resources], None]) -> None:
    @app.task(name=name)
    def task() -> None:
        run(resources(queue=app))


@celeryd_after_setup.connect
def _a_queue_of_its_own(sender: str, instance: Any, **_: Any) -> None:
    """Each worker also consumes a queue that only it knows, for its heartbeat; `sender` is the worker's own name."""
    instance.app.amqp.queues.select_add(own_queue(sender))


class Heartbeat(bootsteps.StartStopStep):
    """Sends this worker a task through its own queue every few seconds; running it touches the file the health check reads."""

    requires = ("celery.worker.components:Timer",)

    def start(self, worker: Any) -> None:
        """Begin to beat."""
        self._timer = worker.timer.call_repeatedly(HEARTBEAT_EVERY_S, self._send, (worker,))

    def stop(self, worker: Any) -> None:
        """Stop beating."""
        self._timer.cancel()

    def _send(self, worker: Any) -> None:
        try:
            worker.app.send_task(HEARTBEAT_TASK, queue=own_queue(worker.hostname), expires=2 * HEARTBEAT_EVERY_S)
        except TRANSPORT_FAULTS as fault:
            log.warning("no heartbeat sent", extra={"why": str(fault)})


@worker_process_init.connect
def _a_child_starts_clean(**_: Any) -> None:
    """After the fork: logs of its own; engine and clients are made by this child on first use."""
    set_up_logs(settings().log_level)


def __getattr__(name: str) -> Any:
    """The application that `celery -A services.chassis.worker` looks for, built when it is asked for."""
    if name in ("app", "celery"):
        set_up_logs(settings().log_level)
        app = worker_app(settings())
        globals()["app"] = globals()["celery"] = app
        return app
    raise AttributeError(name)
