"""A worker that looks at itself every tenth of a second, can be kept at work for as long as a test likes, and deafened.

Started as `celery -A tests.integration.lively_worker worker`. SIGUSR2 makes it ask Redis for nothing any more, as by the faults that
left workers connected and idle.
"""

from __future__ import annotations

import signal
from typing import Any

from services.chassis import life
from services.chassis.celery_logs import speak_json
from services.chassis.redis_transport import Channel
from services.chassis.resources import resources
from services.chassis.settings import settings
from services.chassis.worker import worker_app

life.LOOK_EVERY_S = 0.1
life.DEAF_AFTER_S = 1.0

speak_json()
app = worker_app(settings())


@app.task(name="tests.stay", shared=False)
def stay(key: str) -> None:
    """Stay at work until something lies in the list `key`."""
    resources(queue=app).redis.blpop([key], timeout=20)


def _deafen(*_: Any) -> None:
    Channel._brpop_start = lambda *_, **__: None


signal.signal(signal.SIGUSR2, _deafen)
