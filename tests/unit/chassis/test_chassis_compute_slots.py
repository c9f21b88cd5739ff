"""What computes while its caller waits takes turns, one of each key."""

from __future__ import annotations

import asyncio
from collections import Counter

import pytest

from services.chassis.compute_slots import MOST_WAITING_OF_KEY, ComputeSlots
from services.chassis.refusals import Refused


async def take(slots: ComputeSlots, key: str, running: Counter[str], seen: list[Counter[str]], until: asyncio.Event) -> str:
    try:
        async with slots.turn(key):
            running[key] += 1
            seen.append(running.copy())
            await until.wait()
            running[key] -= 1
    except Refused as refusal:
        return refusal.slug
    return "done"


def crowd(keys: list[str], *, most: int, waits_s: float = 5.0, opens: bool = True) -> tuple[list[str], list[Counter[str]]]:
    async def together() -> tuple[list[str], list[Counter[str]]]:
        slots, running, seen, until = ComputeSlots(most, waits_s=waits_s), Counter[str](), list[Counter[str]](), asyncio.Event()
        tasks = [asyncio.create_task(take(slots, key, running, seen, until)) for key in keys]
        await asyncio.sleep(waits_s * 2 if not opens else 0)
        until.set()
        return list(await asyncio.gather(*tasks)), seen

    return asyncio.run(together())


def test_only_so_many_compute_at_once_and_one_of_each_key() -> None:
    outcomes, seen = crowd(["a"] * 5 + ["b"] * 5 + ["c"] * 5, most=2)
    assert outcomes == ["done"] * 15
    assert max(running.total() for running in seen) == 2
    assert max(max(running.values()) for running in seen) == 1


def test_a_key_that_sends_ever_more_is_told_to_wait_and_others_are_not() -> None:
    outcomes, _ = crowd(["a"] * (MOST_WAITING_OF_KEY + 5) + ["b"], most=2)
    assert Counter(outcomes) == {"done": MOST_WAITING_OF_KEY + 2, "too-often": 4}
    assert outcomes[-1] == "done"


def test_who_gets_no_turn_in_time_is_told_so() -> None:
    outcomes, _ = crowd(["a", "b", "c"], most=2, waits_s=0.01, opens=False)
    assert outcomes == ["done", "done", "busy"]


def test_a_turn_is_given_back_when_the_work_breaks() -> None:
    async def broken_then_good() -> bool:
        slots = ComputeSlots(1, waits_s=0.05)
        with pytest.raises(ZeroDivisionError):
            async with slots.turn("a"):
                raise ZeroDivisionError
        async with slots.turn("b"):
            return True

    assert asyncio.run(broken_then_good())
