"""The one process that keeps time: it asks for the periodic tasks. Start with `celery -A services.chassis.beat beat`."""

from __future__ import annotations

from typing import Any

from celery import Celery

from services.chassis.logs import set_up_logs
from services.chassis.queue import queue_app
from services.chassis.settings import Settings, settings
from shared_schemas.pipeline import SWEEP_QUEUE, SWEEP_TASK, TASKS


def beat_app(chosen: Settings) -> Celery:
    """A Celery application with the schedule. A second beat is harmless: the tasks are scans under row locks."""
    app = queue_app(chosen, TASKS)
    app.conf.beat_scheduler = "celery.beat:Scheduler"
    app.conf.beat_max_loop_interval = 5
    app.conf.beat_schedule = {
        "sweep": {
            "task": SWEEP_TASK,
            "schedule": chosen.sweep_every_s,
            "options": {"queue": SWEEP_QUEUE, "expires": 2 * chosen.sweep_every_s},
        }
    }
    return app


def __getattr__(name: str) -> Any:
    """The application that `celery -A services.chassis.beat` looks for, built when it is asked for."""
    if name in ("app", "celery"):
        set_up_logs(settings().log_level)
        app = beat_app(settings())
        globals()["app"] = globals()["celery"] = app
        return app
    raise AttributeError(name)
