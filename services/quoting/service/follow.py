"""Following a quote from station to station until it has its outcome."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable

from starlette.concurrency import run_in_threadpool

from services.chassis.resources import Resources
from services.quoting.service.documents import status_now
from services.quoting.store.repository import QuoteStore
from shared_schemas.pipeline import STATIONS
from shared_schemas.quote import FINAL_STATUSES

LOOK_EVERY_S = 0.1
STEPS = ("accepted", *(station.status for station in STATIONS))


FIRST_PAUSE_S = 0.03
PAUSE_GROWS_BY = 1.35
LONGEST_PAUSE_S = 0.5


async def done_within(is_done: Callable[[], bool], within_s: float) -> bool:
    """Whether what is waited for is done within that time. Looks often at first and then ever more seldom; no thread waits."""
    loop = asyncio.get_running_loop()
    give_up_at = loop.time() + within_s
    pause = FIRST_PAUSE_S
    while not await run_in_threadpool(is_done):
        left = give_up_at - loop.time()
        if left <= 0:
            return False
        await asyncio.sleep(min(pause, left))
        pause = min(pause * PAUSE_GROWS_BY, LONGEST_PAUSE_S)
    return True


async def statuses(number: str, resources: Resources) -> AsyncIterator[tuple[int, str]]:
    """Each status the quote in the row `number` goes through, once and in order, with its place on the way; the last one is its outcome.

    A look may find that several stations were passed since the one before; each is given. A refused or failed quote
    gives only those that were seen.
    """
    store = QuoteStore(resources.database)
    given = -1
    while True:
        row = await run_in_threadpool(store.row, number)
        status = await run_in_threadpool(status_now, row, resources)
        passed = STEPS.index(status) if status in STEPS else len(STEPS) - 1 if status == "ready" else given
        for place in range(given + 1, passed + 1):
            yield place, STEPS[place]
        given = max(given, passed)
        if status in FINAL_STATUSES:
            yield len(STEPS), status
            return
        await asyncio.sleep(LOOK_EVERY_S)
