"""The feed of job estimates that the ERP pulls."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Header, Query, Request, Response
from starlette.concurrency import run_in_threadpool

from services.chassis.json_bodies import CheckedRoute
from services.chassis.negotiation import LONGEST_WAIT_S, is_known, preferred_wait_s
from services.chassis.open_streams import OpenStreams
from services.chassis.resources import Resources
from services.chassis.web import Tools, answers
from services.quoting import errors
from services.quoting.api.parts import Erp, Most, cursor_of, read_cursor
from services.quoting.service.follow import done_within
from services.quoting.store.blocks import digest_of
from services.quoting.store.feed import Choice, Feed, StoredEntry
from shared_schemas.base import Moment
from shared_schemas.estimate_feed import EntryType, EstimatePage

router = APIRouter(route_class=CheckedRoute)

JSON = "application/json"
ASK_AGAIN = "private, no-cache"
HEADERS = {
    "Link": {"schema": {"type": "string"}, "description": 'The next page, `rel="next"`, where there is one already (RFC 8288)'},
    "ETag": {"schema": {"type": "string"}, "description": "Of this page"},
    "Preference-Applied": {"schema": {"type": "string"}, "description": "The wait that was granted"},
}
FOUND: dict[int | str, dict[str, Any]] = {200: {"headers": HEADERS}, 304: {"description": "It is as you have it"}}


CURSOR_KIND = "e"
Kinds = Annotated[
    tuple[EntryType, ...],
    Query(alias="type", max_length=7, description="Entries of these types only; may be given more than once."),
]
Since = Annotated[Moment | None, Query(description="Only what happened from this moment on, with its offset from UTC.")]


@router.get(
    "/v1/estimates",
    summary="What happened to job estimates, oldest first: ready, accepted, declined, expired, superseded, cancelled, rescheduled, withdrawn, expiring",
    response_model=EstimatePage,
    responses={**FOUND, **answers("invalid", "gone")},
)
async def list_estimates(
    http: Request,
    caller: Erp,
    tools: Tools,
    after: Annotated[str | None, Query(description="The `next` of the page before; keep it to ask for what came since.")] = None,
    limit: Most = 50,
    kinds: Kinds = (),
    since: Since = None,
    prefer: Annotated[
        str | None,
        Header(description=f"`wait=N`: where there is nothing new, answer as soon as there is, at most {LONGEST_WAIT_S} s later."),
    ] = None,
    if_none_match: Annotated[str | None, Header(description="The ETag of what you have.")] = None,
) -> Response:
    """An entry never changes, and none comes before one that was given: who goes on from `next` misses nothing and sees nothing twice."""
    choice, feed = Choice(kinds, since), Feed(tools.database)
    start = await run_in_threadpool(start_of, tools, feed, after)
    headers = {"Cache-Control": ASK_AGAIN}
    wait_s = preferred_wait_s(http.headers.getlist("prefer"))
    if wait_s:
        headers["Preference-Applied"] = f"wait={wait_s}"
        streams: OpenStreams = http.app.state.streams
        await done_within(lambda: streams.must_end or bool(feed.page(after=start, most=1, choice=choice)), wait_s)
    entries = await run_in_threadpool(feed.page, after=start, most=limit + 1, choice=choice)
    page = entries[:limit]
    following = cursor_of(tools, CURSOR_KIND, page[-1].position) if page else after
    if len(entries) > limit:
        headers["Link"] = f'<{_place(following, limit, kinds, since)}>; rel="next"'
    body = _body(page, following)
    etag = digest_of(body)
    headers["ETag"] = f'"{etag}"'
    if is_known(if_none_match, etag):
        return Response(status_code=304, headers=headers)
    return Response(body, media_type=JSON, headers=headers)


def start_of(tools: Resources, feed: Feed, after: str | None) -> int:
    """The position to go on from; raises `CursorUnreadable`, `CursorOfAnotherEpoch`, `CursorOfTheFuture`."""
    start = read_cursor(tools, CURSOR_KIND, after) or 0
    if after is not None and start > (last := feed.end().position):
        raise errors.CursorOfTheFuture(after, start, last)
    return start


def _body(page: list[StoredEntry], following: str | None) -> bytes:
    """The page as JSON, entries byte for byte as they were written; a cursor needs no escapes."""
    end = b"null" if following is None else f'"{following}"'.encode()
    return b'{"items":[' + b",".join(entry.document for entry in page) + b'],"next":' + end + b"}"


def _place(following: str | None, limit: int, kinds: tuple[EntryType, ...], since: datetime | None) -> str:
    asked = [("after", following), ("limit", limit), *(("type", kind) for kind in kinds)]
    return "/v1/estimates?" + urlencode(asked + ([("since", since.isoformat())] if since else []))
