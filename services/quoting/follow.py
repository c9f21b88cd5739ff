"""Following a quote from station to station until it has its outcome."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator

from starlette.concurrency import run_in_threadpool

from services.chassis.resources import Resources
from services.quoting.documents import status_now
from services.quoting.store.repository import QuoteStore
from shared_schemas.pipeline import STATIONS
from shared_schemas.quote import FINAL_STATUSES

LOOK_EVERY_S = 0.1
WAY = ("accepted", *(station.status for station in STATIONS))


async def statuses(number: str, resources: Resources) -> AsyncIterator[tuple[int, str]]:
    """Each status a quote goes through, once and in order, with its place on the way; the last one is its outcome.

    A look may find that several stations were passed since the one before; each is given. A refused or failed quote
    gives only those that were seen.
    """
    store = QuoteStore(resources.database)
    given = -1
    while True:
        row = await run_in_threadpool(store.quote, number)
        status = await run_in_threadpool(status_now, row, resources)
        passed = WAY.index(status) if status in WAY else len(WAY) - 1 if status == "ready" else given
        for place in range(given + 1, passed + 1):
            yield place, WAY[place]
        given = max(given, passed)
        if status in FINAL_STATUSES:
            yield len(WAY), status
            return
        await asyncio.sleep(LOOK_EVERY_S)
