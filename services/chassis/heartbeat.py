"""Proof that a worker consumes: every finished task touches a file, and the container's check reads its age.

    python -m services.chassis.heartbeat        exit 0 when the last beat is young enough

A worker that is connected and takes nothing looks alive to every other question.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

HEARTBEAT_EVERY_S = 5.0
LONGEST_SILENCE_S = 120.0
"""Well above the hard limit of a task plus the share of heartbeats that go to other replicas of the same queue."""


def heartbeat_file() -> Path:
    """The file of this container or machine user; `BLANKWRIGHT_HEARTBEAT_FILE` names another."""
    return Path(os.environ.get("BLANKWRIGHT_HEARTBEAT_FILE", f"/tmp/blankwright-heartbeat-{os.getuid()}"))


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
