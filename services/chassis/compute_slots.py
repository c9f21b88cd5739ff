"""Routes that compute while the caller waits take turns, so that the process answers others beside them."""

from __future__ import annotations

from asyncio import Semaphore, timeout
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from typing import TypeVar

from services.chassis.refusals import Refused

Endpoint = TypeVar("Endpoint", bound=Callable[..., object])

MOST_WAITING_OF_KEY = 16
WAITS_S = 20.0


def computes(endpoint: Endpoint) -> Endpoint:
    """Mark an endpoint as one that may take seconds of a processor."""
    endpoint.computes = True  # type: ignore[attr-defined]
    return endpoint


class _Key:
    """The turn of one key, and how many of its requests are in it or wait for it."""

    def __init__(self) -> None:
        self.turn = Semaphore(1)
        self.requests = 0


class ComputeSlots:
    """At most `most` at once, one of each key; further ones wait up to `WAITS_S`, and of a key only so many wait."""

    def __init__(self, most: int, *, waits_s: float = WAITS_S) -> None:
        self._all = Semaphore(most)
        self._waits_s = waits_s
        self._keys: dict[str, _Key] = {}

    @asynccontextmanager
    async def turn(self, key_id: str) -> AsyncIterator[None]:
        """Wait for a turn and hold it; raises `Refused` when too many of the key wait, or when none came in time."""
        key = self._keys.setdefault(key_id, _Key())
        if key.requests > MOST_WAITING_OF_KEY:
            said = f"{MOST_WAITING_OF_KEY} requests of this key wait to be computed; send the next when one is answered."
            raise Refused("too-often", said, Retry_After="2")
        key.requests += 1
        try:
            async with _within(key.turn, self._waits_s), _within(self._all, self._waits_s):
                yield
        finally:
            key.requests -= 1
            if not key.requests:
                self._keys.pop(key_id, None)


@asynccontextmanager
async def _within(semaphore: Semaphore, seconds: float) -> AsyncIterator[None]:
    try:
        async with timeout(seconds):
            await semaphore.acquire()
    except TimeoutError as fault:
        raise Refused("busy", f"Others are being computed; no turn came within {seconds:g} s.", Retry_After="5") from fault
    try:
        yield
    finally:
        semaphore.release()
