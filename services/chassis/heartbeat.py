"""Signs of life: a file whose age the container's check reads, and a key in Redis with the queues that a worker consumes.

    python -m services.chassis.heartbeat        exit 0 when the last beat is young enough

What a worker has to show before it beats is said in `life.py`. Beat, which has no queue, touches its file itself.
"""

from __future__ import annotations

import os
import sys
import time
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, cast

if TYPE_CHECKING:
    import redis

LONGEST_SILENCE_S = 60.0

SIGN_LIVES_S = 30
"""A worker that has not beaten for so long, some six beats, is counted as away."""


def sign_of(deployment: str, worker: str) -> str:
    """The key in Redis under which a worker leaves its sign of life."""
    return f"{deployment}:alive:{worker}"


def own_queue(worker: str) -> str:
    """The queue that only the worker of that name consumes."""
    return f"heartbeat.{worker}"


def give_sign(client: redis.Redis, deployment: str, worker: str, queues: str) -> None:
    """Leave a worker's sign of life, with the queues that it consumes."""
    client.sadd(_everyone(deployment), worker)
    client.set(sign_of(deployment, worker), queues, ex=SIGN_LIVES_S)


def workers_of_queues(client: redis.Redis, deployment: str) -> Counter[str]:
    """How many workers that gave a sign of life lately consume each queue."""
    workers = sorted(worker.decode() for worker in cast("set[bytes]", client.smembers(_everyone(deployment))))
    told = cast("list[bytes | None]", client.mget([sign_of(deployment, worker) for worker in workers])) if workers else []
    faded = [worker for worker, queues in zip(workers, told, strict=True) if queues is None]
    if faded:
        client.srem(_everyone(deployment), *faded)
    return Counter(queue for queues in told if queues for queue in queues.decode().split(","))


def _everyone(deployment: str) -> str:
    # A set of names, as a process of the suite may not list the keys there are.
    return f"{deployment}:workers"


def heartbeat_file() -> Path:
    """The file of this container or machine user; `BLANKWRIGHT_HEARTBEAT_FILE` names another."""
    return Path(os.environ.get("BLANKWRIGHT_HEARTBEAT_FILE", f"/tmp/blankwright-heartbeat-{os.getuid()}"))  # nosec B108  only its age is read


def beat_once() -> None:
    """Touch the file."""
    heartbeat_file().touch()


def silence_s() -> float:
    """Seconds since the last beat, infinite when there was none."""
    try:
        return time.time() - heartbeat_file().stat().st_mtime
    except FileNotFoundError:
        return float("inf")


if __name__ == "__main__":
    sys.exit(silence_s() > LONGEST_SILENCE_S)
