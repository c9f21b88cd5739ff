"""A real worker: at work on all its places it stays alive, and deaf it ends itself."""

from __future__ import annotations

import json
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from services.chassis.heartbeat import workers_of_queues
from services.chassis.resources import Resources
from services.chassis.version import VERSION
from tests.integration.parts import Worker, until

DEAF_AFTER_S = 1.0
"""As `lively_worker` has it."""


@pytest.fixture
def worker(broker_port: int, tools: Resources, tmp_path: Path) -> Iterator[Worker]:
    started = Worker(broker_port, tmp_path, app="tests.integration.lively_worker", children=2)
    yield started
    started.end()


def test_a_busy_worker_stays_alive_and_a_deaf_one_ends_itself(tools: Resources, worker: Worker) -> None:
    until(worker.heartbeat.exists, within_s=60)
    for key in "ab":
        tools.queue.send_task("tests.stay", args=[key], queue="prescription")
    began = time.monotonic()
    until(lambda: time.monotonic() > began + 3 * DEAF_AFTER_S, within_s=60)
    assert worker.process.poll() is None, worker.log.read_text()
    assert time.time() - worker.heartbeat.stat().st_mtime < DEAF_AFTER_S, "its sign of life does not stand in line"
    assert tools.redis.llen(f"blankwright:{worker.own_queue}") == 1, "both its places are taken"
    assert workers_of_queues(tools.redis, "blankwright") == {"prescription": 1}
    for key in "ab":
        tools.redis.rpush(key, "enough")
    until(lambda: not tools.redis.llen(f"blankwright:{worker.own_queue}"), within_s=60)
    worker.process.send_signal(signal.SIGUSR2)
    until(lambda: worker.process.poll() is not None, within_s=60)
    assert worker.process.returncode == 1
    lines = [json.loads(line) for line in worker.log.read_text().splitlines()]
    assert "nobody has taken it" in lines[-1]["why"]
    assert {"queues": "prescription", "version": VERSION}.items() <= lines[0].items()
    assert not [line for line in lines if "superuser" in str(line)]
