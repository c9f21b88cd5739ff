"""The feed of job estimates as server-sent events, for an ERP that would rather listen than ask.

It has an address of its own, as the events of a quote have: a page has a limit, an ETag and a wait, and a stream has none of them.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Header, Query, Request
from fastapi.sse import EventSourceResponse, ServerSentEvent
from sqlalchemy.exc import SQLAlchemyError
from starlette.concurrency import run_in_threadpool

from services.chassis.json_bodies import CheckedRoute
from services.chassis.open_streams import OpenStreams
from services.chassis.problems import problem
from services.chassis.web import Tools, answers
from services.quoting.api.estimates import CURSOR_KIND, Kinds, Since, start_of
from services.quoting.api.parts import Erp, cursor_of
from services.quoting.errors import CursorOfAnotherEpoch
from services.quoting.store.feed import Choice, Feed, StoredEntry

log = logging.getLogger(__name__)
router = APIRouter(route_class=CheckedRoute)

LONGEST_S = 900.0
"""After so long a stream ends and its listener comes back with where it was: by then a key that was revoked hears no more."""
COME_BACK_AFTER_MS = 2000
READ_AT_ONCE = 100
FIRST_PAUSE_S, PAUSE_GROWS_BY, LONGEST_PAUSE_S = 0.1, 1.35, 1.0


@dataclass(frozen=True)
class _Beginning:
    """After which position a stream goes on, in which epoch."""

    position: int
    epoch: str


def _beginning(
    caller: Erp,
    tools: Tools,
    after: Annotated[str | None, Query(description="The `next` of a page, or the `id` of an event, to go on from.")] = None,
    last_event_id: Annotated[
        str | None, Header(description="The `id` of the last event that came; it counts before `after`.")
    ] = None,
) -> _Beginning:
    feed = Feed(tools.database)
    feed.end()  # a database that is away is said while the answer can still be a problem
    return _Beginning(start_of(tools, feed, last_event_id or after), tools.epoch.token)


async def _place(http: Request, caller: Erp) -> AsyncIterator[OpenStreams]:
    streams: OpenStreams = http.app.state.streams
    with streams.place(caller.key_id):
        yield streams


@router.get(
    "/v1/estimates/events",
    summary="What happens to job estimates, as server-sent events",
    response_class=EventSourceResponse,
    responses=answers("invalid", "gone", "busy"),
)
async def follow_estimates(
    begin: Annotated[_Beginning, Depends(_beginning)],
    streams: Annotated[OpenStreams, Depends(_place)],
    tools: Tools,
    kinds: Kinds = (),
    since: Since = None,
) -> AsyncIterator[ServerSentEvent]:
    """Each entry is an event of its type, its `id` a cursor: who comes back with it as `Last-Event-ID` misses nothing and sees nothing twice.

    A stream ends after a quarter of an hour, and with the process. An event `gone` says that a backup was restored: no `id` of before is good any more.
    """
    yield ServerSentEvent(comment="job estimates", retry=COME_BACK_AFTER_MS)
    ends_at = asyncio.get_running_loop().time() + LONGEST_S
    try:
        async for entry in _entries(begin, Choice(kinds, since), Feed(tools.database), streams, ends_at=ends_at):
            document = entry.document.decode()
            yield ServerSentEvent(event=entry.type, id=cursor_of(tools, CURSOR_KIND, entry.position), raw_data=document)
    except CursorOfAnotherEpoch as fault:
        yield ServerSentEvent(event="gone", data=problem("gone", str(fault)).model_dump(mode="json", exclude_none=True))
    except SQLAlchemyError as fault:
        log.warning("a stream of estimates ends, as the database does not answer", extra={"why": type(fault).__name__})


async def _entries(
    begin: _Beginning, choice: Choice, feed: Feed, streams: OpenStreams, *, ends_at: float
) -> AsyncIterator[StoredEntry]:
    """Entries as they come, until the stream is to end; raises `CursorOfAnotherEpoch` when another epoch began."""
    position, pause_s = begin.position, FIRST_PAUSE_S
    clock = asyncio.get_running_loop().time
    while True:
        end = await run_in_threadpool(feed.end)
        if end.epoch.token != begin.epoch:
            raise CursorOfAnotherEpoch("", end.epoch.began_at)
        is_full = end.position > position
        while is_full:
            page = await run_in_threadpool(feed.page, after=position, most=READ_AT_ONCE, choice=choice)
            for entry in page:
                yield entry
                position, pause_s = entry.position, FIRST_PAUSE_S
            is_full = len(page) == READ_AT_ONCE and not streams.must_end
        # What stands before the end and was on no page is not wanted.
        position = max(position, end.position)
        if streams.must_end or clock() >= ends_at:
            return
        await asyncio.sleep(pause_s)
        pause_s = min(pause_s * PAUSE_GROWS_BY, LONGEST_PAUSE_S)
