"""The one process that keeps time: it asks for the periodic tasks. Start with `celery -A services.chassis.beat beat`."""

from __future__ import annotations

import time
from datetime import datetime
from typing import Any

from celery import Celery
from celery.beat import Scheduler
from celery.schedules import schedule

from services.chassis.celery_logs import hush_beat, speak_json
from services.chassis.heartbeat import beat_once
from services.chassis.queue import queue_app
from services.chassis.settings import Settings, settings
from shared_schemas.pipeline import (
    DELIVER_TASK,
    EXPIRE_TASK,
    FORGET_LOAD_TASK,
    FORGET_TASK,
    PACK_TASK,
    SWEEP_TASK,
    TAKE_IN_TASK,
    TAKE_OVER_TASK,
    TASKS,
)

CLOCKS_APART_S = 60.0
"""A sweep that was asked for longer ago is not done; shorter, and machines whose clocks disagree would never sweep."""


PACK_EVERY_S = 10.0
FORGET_EVERY_S = 3600.0
EXPIRE_EVERY_S = 900.0


class Every(schedule):
    """Every so many seconds. A clock that is set back does not silence it: what ran in the future is due now."""

    def is_due(self, last_run_at: datetime) -> tuple[bool, float]:
        """Whether it is due, and the seconds until to ask again."""
        due, wait_s = super().is_due(last_run_at)
        every_s = self.run_every.total_seconds()
        return (True, every_s) if wait_s > every_s + 1 else (due, wait_s)


class TimeKeeper(Scheduler):
    """Celery's scheduler in memory, which also proves that it still keeps time: each round touches the file of the health check."""

    _seen_at = 0.0

    def tick(self, *given: Any, **named: Any) -> Any:
        """Ask for what is due; seconds until the next round."""
        now = time.time()
        if now < self._seen_at:
            # Celery holds its times against the clock of the machine; they are worked out anew when that was set back.
            self._heap = None
        self._seen_at = now
        wait_s = super().tick(*given, **named)
        beat_once()
        return wait_s


def beat_app(chosen: Settings) -> Celery:
    """A Celery application with the schedule. A second beat is harmless: the tasks are scans under row locks."""
    app = queue_app(chosen, TASKS)
    hush_beat(app)
    app.conf.beat_scheduler = TimeKeeper
    app.conf.beat_max_loop_interval = 5
    app.conf.beat_schedule = {
        task: {
            "task": task,
            "schedule": Every(every_s),
            "options": {"queue": TASKS[task], "expires": max(2 * every_s, CLOCKS_APART_S)},
        }
        for task, every_s in (
            (SWEEP_TASK, chosen.sweep_every_s),
            (TAKE_OVER_TASK, chosen.sweep_every_s),
            (DELIVER_TASK, chosen.sweep_every_s),
            (TAKE_IN_TASK, chosen.sweep_every_s),
            (PACK_TASK, PACK_EVERY_S),
            (EXPIRE_TASK, EXPIRE_EVERY_S),
            (FORGET_TASK, FORGET_EVERY_S),
            (FORGET_LOAD_TASK, FORGET_EVERY_S),
        )
    }
    return app


def __getattr__(name: str) -> Any:
    """The application that `celery -A services.chassis.beat` looks for, built when it is asked for."""
    if name in ("app", "celery"):
        speak_json()
        app = beat_app(settings())
        globals()["app"] = globals()["celery"] = app
        return app
    raise AttributeError(name)
