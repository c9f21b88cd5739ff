"""The floor: what four hops through a real broker take when the stages do nothing."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from services.chassis.one_box.servers import broker, free_port, listens, wait_until
from services.chassis.pipeline import write_section
from services.chassis.queue import queue_app
from services.chassis.resources import Resources, build_resources
from services.chassis.settings import Settings
from shared_schemas.pipeline import STATIONS, TASKS
from tests.bench.compute import job_of
from tests.bench.idle_worker import ARRIVED
from tests.bench.lenses import chain_of_lenses

PASSWORD = "for-tests"
PROJECT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Floor:
    """Latency of one traveller alone [s], and travellers a second at saturation."""

    latency_s: float
    worst_s: float
    per_second: float


def measure_floor(*, alone: int = 60, together: int = 300) -> Floor:
    """Send travellers with the head of 14 elements through a worker of two processes, one by one and then all at once."""
    document = write_section(job_of(chain_of_lenses(14)))
    with _worker() as tools:
        for _ in range(20):
            _through(tools, document, 1)
        times = sorted(_through(tools, document, 1) for _ in range(alone))
        return Floor(statistics.median(times), times[int(0.99 * (alone - 1))], together / _through(tools, document, together))


def _through(tools: Resources, document: bytes, many: int) -> float:
    first = STATIONS[0]
    began = time.perf_counter()
    for place in range(many):
        number = f"Q-2026-{place:06d}"
        tools.travellers.start(number, 1, document)
        tools.send(first.task, first.queue, number, 1, "0" * 32)
    for _ in range(many):
        if tools.redis.blpop([ARRIVED], timeout=8) is None:
            raise TimeoutError("a traveller did not come through")
    return time.perf_counter() - began


@contextmanager
def _worker() -> Iterator[Resources]:
    """A broker and a worker of two processes, in a folder that goes with them; the resources to reach them with."""
    with tempfile.TemporaryDirectory(prefix="blankwright-bench-") as name:
        folder, port = Path(name), free_port()
        told = {
            "database_url": "postgresql://u:p@127.0.0.1:1/x",
            "redis_url": f"redis://:{PASSWORD}@127.0.0.1:{port}/0",
            "rates_url": "http://127.0.0.1:1",
            "service_key": "bw_0_0",
        }
        environment = (
            os.environ | {f"BLANKWRIGHT_{name.upper()}": value for name, value in told.items()} | {"PYTHONPATH": str(PROJECT)}
        )
        server = broker(folder / "broker", port=port, password=PASSWORD)
        with (folder / "log").open("wb") as log:
            broking = server.launch(log)
            wait_until(lambda: listens(port), broking, what="broker", log=folder / "log")
            working = subprocess.Popen(
                [sys.executable, "-m", "celery", "-A", "tests.bench.idle_worker", "--skip-checks", "worker", "-Q",
                 ",".join(station.queue for station in STATIONS), "-c", "2", "-l", "WARNING",
                 "--without-gossip", "--without-mingle", "--without-heartbeat"],
                cwd=PROJECT, env=environment, stdin=subprocess.DEVNULL, stdout=log, stderr=log,
            )  # fmt: skip
            settings = Settings(**told)  # type: ignore[arg-type]
            tools = build_resources(settings, queue=queue_app(settings, TASKS))  # with the patience of a worker, not of a caller
            try:
                yield tools
            finally:
                tools.queue.close()
                tools.redis.close()
                for process in (working, broking):
                    process.terminate()
                    process.wait(timeout=30)
