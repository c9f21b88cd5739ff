"""Proof that a worker consumes: a task through a queue of its own touches a file, and the container's check reads its age.

    python -m services.chassis.heartbeat        exit 0 when the last beat is young enough

A worker that is connected and takes nothing looks alive to every other question. Beat, which has no queue, touches its file itself.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

HEARTBEAT_EVERY_S = 10.0
LONGEST_SILENCE_S = 60.0
"""Above the hard limit of the tasks that may be running when a beat is due."""


SIGN_LIVES_S = 30
"""A worker that has not beaten for so long, three beats, is counted as away."""


def sign_of(deployment: str, worker: str) -> str:
    """The key in Redis under which a worker leaves its sign of life."""
    return f"{deployment}:alive:{worker}"


def own_queue(worker: str) -> str:
    """The queue that only the worker of that name consumes."""
    return f"heartbeat.{worker}"


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


class Pulse:
    """How long the beats have been missing, by a clock that nobody sets."""

    def __init__(self) -> None:
        self._last = self._touched_at()
        self._since = time.monotonic()

    def silence_s(self) -> float:
        """Seconds since a beat was first missed at a look; 0 when one came since the look before."""
        touched_at = self._touched_at()
        if touched_at != self._last:
            self._last, self._since = touched_at, time.monotonic()
        return time.monotonic() - self._since

    @staticmethod
    def _touched_at() -> float:
        try:
            return heartbeat_file().stat().st_mtime
        except FileNotFoundError:
            return 0.0


if __name__ == "__main__":
    sys.exit(silence_s() > LONGEST_SILENCE_S)
