"""A key has so many requests and bytes in a minute, in all processes together, and is told where it stands."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
import redis

from services.chassis.key_limits import KeyLimits, Standing, limit_fields
from services.chassis.keys import Caller
from services.chassis.refusals import Refused

DESK, OTHER = Caller("aa", "sales", "desk"), Caller("bb", "sales", "other")
SUITE = Caller("cc", "service", "suite")


class SharedCounts:
    """As much of Redis as limits need, shared by several processes."""

    def __init__(self) -> None:
        self.counts: dict[tuple[str, str], int] = {}
        self.lives: dict[str, int] = {}
        self.is_away = False

    def pipeline(self, *, transaction: bool) -> Commands:
        """Commands are carried out as they come."""
        return Commands(self)


class Commands:
    """One pipeline."""

    def __init__(self, shared: SharedCounts) -> None:
        self._shared = shared
        self._replies: list[int] = []

    def hincrby(self, name: str, what: str, amount: int) -> None:
        """Add to one count."""
        self._shared.counts[name, what] = self._shared.counts.get((name, what), 0) + amount
        self._replies.append(self._shared.counts[name, what])

    def expire(self, name: str, seconds: int) -> None:
        """Let a name be forgotten."""
        self._shared.lives[name] = seconds
        self._replies.append(1)

    def execute(self) -> list[int]:
        """The replies."""
        if self._shared.is_away:
            raise redis.ConnectionError("away")
        return self._replies


class Clock:
    """A clock that a test sets."""

    now = 600.0

    def __call__(self) -> float:
        return self.now


def limits(shared: Any = None, clock: Clock | None = None, *, requests: int = 10, size: int = 1000) -> KeyLimits:
    return KeyLimits(most_requests=requests, most_bytes=size, client=shared, deployment="d", clock=clock or Clock())


def taken(one: KeyLimits, times: int, caller: Caller = DESK) -> int:
    done = 0
    for _ in range(times):
        try:
            one.take_request(caller)
        except Refused:
            break
        done += 1
    return done


def test_a_key_is_refused_above_its_limit_until_the_minute_is_over_and_others_are_not() -> None:
    clock = Clock()
    one = limits(clock=clock)
    assert taken(one, 20) == 10
    clock.now += 12.5
    with pytest.raises(Refused) as caught:
        one.take_request(DESK)
    assert (caught.value.slug, caught.value.headers["Retry-After"]) == ("too-often", "48")
    assert taken(one, 20, OTHER) == 10
    clock.now = 660.0
    assert taken(one, 20) == 10


def test_bytes_of_bodies_have_a_limit_of_their_own() -> None:
    one = limits()
    one.take_bytes(DESK, 900)
    with pytest.raises(Refused, match="1000 bytes"):
        one.take_bytes(DESK, 101)
    one.take_bytes(DESK, 100)
    one.count_bytes(OTHER, 5000)
    with pytest.raises(Refused):
        one.take_bytes(OTHER, 1)


def test_the_suite_itself_has_no_limit() -> None:
    one = limits()
    assert taken(one, 100, SUITE) == 100
    assert one.fields(SUITE) == {}


def test_processes_keep_a_limit_together() -> None:
    async def two_processes() -> tuple[int, int, int]:
        shared = SharedCounts()
        one, other = limits(shared), limits(shared)
        first = taken(one, 6)
        await one.tell()
        second = taken(other, 1)
        await other.tell()
        second += taken(other, 20)
        await other.tell()
        taken(one, 0)
        one.take_bytes(DESK, 1)
        await one.tell()
        assert set(shared.lives.values()) == {120}
        return first, second, taken(one, 20)

    assert asyncio.run(two_processes()) == (6, 4, 0)


def test_a_process_goes_on_alone_while_redis_is_away() -> None:
    async def alone() -> int:
        shared = SharedCounts()
        shared.is_away = True
        one = limits(shared)
        before = taken(one, 4)
        await one.tell()
        return before + taken(one, 20)

    assert asyncio.run(alone()) == 10


def test_the_fields_are_those_of_the_draft() -> None:
    one = limits()
    taken_before = one.fields(DESK)
    asyncio.run(_taking(one))
    assert taken_before["RateLimit-Policy"] == '"requests";q=10;w=60, "bodies";q=1000;qu="content-bytes";w=60'
    assert one.fields(DESK)["RateLimit-Policy"] == taken_before["RateLimit-Policy"]
    assert one.fields(DESK)["RateLimit"] == '"requests";r=7;t=60, "bodies";r=1000;t=60'
    assert limit_fields([Standing("under-way", 5, -1)]) == {"RateLimit-Policy": '"under-way";q=5', "RateLimit": '"under-way";r=0'}


async def _taking(one: KeyLimits) -> None:
    taken(one, 3)
