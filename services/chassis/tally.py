"""What workers count: how long stages took and how often they were tried again. The counts stand in Redis, where all meet.

A worker is many processes that come and go, on several machines; a count kept in one of them would be a part of the truth.
One hash holds the sums of all. Whoever is asked for metrics reads it there.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Any, cast

import redis

BOUNDS_S = (0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 25.0)
"""Upper ends of the classes that stage times are counted in; the last is where a stage is told to end."""


class Tally:
    """Counts of one deployment. What could not be written down, as Redis was away, is written with the next count."""

    def __init__(self, client: redis.Redis, *, deployment: str) -> None:
        self._redis = client
        self._key = f"{deployment}:tally"
        self._counts: Counter[str] = Counter()
        self._sums: dict[str, float] = {}

    def stage(self, stage: str, outcome: str, seconds: float) -> None:
        """One run of a stage, how it ended and how long it took."""
        class_ = next((str(bound) for bound in BOUNDS_S if seconds <= bound), "more")
        self._counts[f"runs|{stage}|{outcome}|{class_}"] += 1
        total = f"seconds|{stage}|{outcome}"
        self._sums[total] = self._sums.get(total, 0.0) + seconds
        self._write()

    def retry(self, stage: str) -> None:
        """One run that was a try after a fault of the ways between the parts."""
        self._counts[f"retries|{stage}"] += 1
        self._write()

    def _write(self) -> None:
        try:
            with self._redis.pipeline(transaction=True) as pipe:
                for name, count in self._counts.items():
                    pipe.hincrby(self._key, name, count)
                for name, total in self._sums.items():
                    pipe.hincrbyfloat(self._key, name, total)
                pipe.execute()
        except redis.RedisError:
            return  # counting must not disturb the work
        self._counts.clear()
        self._sums.clear()

    def read(self) -> Mapping[str, float]:
        """Every count by its name; raises what the client raises."""
        counts = cast("dict[bytes, bytes]", cast(Any, self._redis.hgetall(self._key)))
        return {name.decode(): float(value) for name, value in counts.items()}
