"""How much each key may ask for: requests, and bytes of bodies, in a minute; told on every answer.

A minute is counted in this process, and once a second the processes of a fleet tell each other through Redis what they counted.
So a limit is kept by all of them together to within a second of its traffic, no request waits for Redis, and while Redis is away
each process goes on alone. Windows are minutes of the clock, as all processes have the same ones.
"""

from __future__ import annotations

import asyncio
import logging
import math
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

import redis
from anyio import CapacityLimiter, to_thread

from services.chassis.keys import Caller
from services.chassis.refusals import Refused

log = logging.getLogger(__name__)

WINDOW_S = 60
TELL_EVERY_S = 1.0
_telling = CapacityLimiter(1)


@dataclass(frozen=True)
class Standing:
    """Where a key stands with one limit: of `quota` in `window_s` seconds `remaining` are left, until `resets_s` from now."""

    name: str
    quota: int
    remaining: int
    window_s: int | None = None
    resets_s: int | None = None
    unit: str | None = None


def limit_fields(standings: Iterable[Standing]) -> dict[str, str]:
    """The fields RateLimit-Policy and RateLimit for limits of a key.

    Source:
        R. Polli, A. Martínez Ruiz, D. Miller, RateLimit header fields for HTTP, draft-ietf-httpapi-ratelimit-headers-11 (2026).
    """
    policies, states = [], []
    for one in standings:
        window = f";w={one.window_s}" if one.window_s is not None else ""
        unit = f';qu="{one.unit}"' if one.unit else ""
        resets = f";t={one.resets_s}" if one.resets_s is not None else ""
        policies.append(f'"{one.name}";q={one.quota}{unit}{window}')
        states.append(f'"{one.name}";r={max(0, one.remaining)}{resets}')
    return {"RateLimit-Policy": ", ".join(policies), "RateLimit": ", ".join(states)}


@dataclass
class _Counted:
    """What one key used up in one minute: here, of that what others know, and elsewhere."""

    here: dict[str, int] = field(default_factory=lambda: {"requests": 0, "bytes": 0})
    told: dict[str, int] = field(default_factory=lambda: {"requests": 0, "bytes": 0})
    elsewhere: dict[str, int] = field(default_factory=lambda: {"requests": 0, "bytes": 0})

    def used(self, what: str) -> int:
        return self.here[what] + self.elsewhere[what]


class KeyLimits:
    """The limits of keys, kept in memory and shared through Redis. Keys of the suite's own processes have none."""

    def __init__(
        self, *, most_requests: int, most_bytes: int, client: redis.Redis | None, deployment: str, clock: Callable[[], float] = time.time
    ) -> None:  # fmt: skip
        self._most = {"requests": most_requests, "bytes": most_bytes}
        self._client = client
        self._deployment = deployment
        self._clock = clock
        self._minute = 0
        self._counted: dict[str, _Counted] = {}
        self._told_at = float("-inf")
        self._task: asyncio.Task[None] | None = None
        self._exchanging = asyncio.Lock()

    def take_request(self, caller: Caller) -> None:
        """Count a request; raises `Refused` when it is one too many."""
        self._take(caller, "requests", 1, f"At most {self._most['requests']} requests a minute are taken from one key.")

    def take_bytes(self, caller: Caller, size: int) -> None:
        """Count bytes of a body; raises `Refused` when they are too many."""
        self._take(caller, "bytes", size, f"At most {self._most['bytes']} bytes of bodies a minute are taken from one key.")

    def count_bytes(self, caller: Caller, size: int) -> None:
        """Count bytes of a body whose length nobody knew before it was there; it is the next that is refused."""
        self._of(caller).here["bytes"] += size

    def fields(self, caller: Caller) -> dict[str, str]:
        """The header fields that tell a caller where it stands."""
        if caller.role == "service":
            return {}
        counted, resets_s = self._of(caller), self._resets_s()
        requests, size = (self._most[what] - counted.used(what) for what in ("requests", "bytes"))
        return limit_fields([
            Standing("requests", self._most["requests"], requests, WINDOW_S, resets_s),
            Standing("bodies", self._most["bytes"], size, WINDOW_S, resets_s, "content-bytes"),
        ])  # fmt: skip

    def _take(self, caller: Caller, what: str, amount: int, said: str) -> None:
        if caller.role == "service":
            return
        counted = self._of(caller)
        if counted.used(what) + amount > self._most[what]:
            raise Refused("too-often", said, Retry_After=str(self._resets_s()))
        counted.here[what] += amount
        self._tell_now_and_then()

    def _of(self, caller: Caller) -> _Counted:
        minute = int(self._clock() // WINDOW_S)
        if minute != self._minute:
            self._minute, self._counted = minute, {}
        return self._counted.setdefault(caller.key_id, _Counted())

    def _resets_s(self) -> int:
        return max(1, math.ceil(WINDOW_S - self._clock() % WINDOW_S))

    def _tell_now_and_then(self) -> None:
        due = self._clock() - self._told_at >= TELL_EVERY_S
        if self._client is not None and due and (self._task is None or self._task.done()):
            self._told_at = self._clock()
            self._task = asyncio.get_running_loop().create_task(self.tell())

    async def tell(self) -> None:
        """Tell the other processes what was counted here since the last time, and learn what they counted."""
        async with self._exchanging:
            await self._tell()

    async def _tell(self) -> None:
        untold = {
            key_id: (counted, {what: counted.here[what] - counted.told[what] for what in counted.here})
            for key_id, counted in self._counted.items()
            if counted.here != counted.told
        }
        if not untold or self._client is None:
            return
        minute = self._minute
        try:
            totals = await to_thread.run_sync(
                self._exchanged, minute, {key: new for key, (_, new) in untold.items()}, limiter=_telling
            )
        except redis.RedisError as fault:
            log.warning("limits of keys are kept by each process alone", extra={"why": str(fault)})
            self._told_at = self._clock() + 10 * TELL_EVERY_S
            return
        for (counted, new), total in zip(untold.values(), totals, strict=True):
            for what, amount in new.items():
                counted.told[what] += amount
                counted.elsewhere[what] = total[what] - counted.told[what]

    def _exchanged(self, minute: int, news: dict[str, dict[str, int]]) -> list[dict[str, int]]:
        assert self._client is not None
        pipeline = self._client.pipeline(transaction=False)
        for key_id, new in news.items():
            name = f"{self._deployment}:used:{key_id}:{minute}"
            for what, amount in new.items():
                pipeline.hincrby(name, what, amount)
            pipeline.expire(name, 2 * WINDOW_S)
        replies = pipeline.execute()
        return [{"requests": int(replies[i]), "bytes": int(replies[i + 1])} for i in range(0, len(replies), 3)]
