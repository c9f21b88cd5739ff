"""What the routes of quoting share: who asks, under which key and trace, how long they would wait, and where a page goes on."""

from __future__ import annotations

import base64
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from typing import Annotated, Any, TypeVar

from anyio import CapacityLimiter, to_thread
from fastapi import Depends, Header, Query, Request, Response
from pydantic import BaseModel
from starlette.concurrency import run_in_threadpool

from services.chassis.keys import Caller
from services.chassis.negotiation import LONGEST_WAIT_S, preferred_wait_s
from services.chassis.resources import Resources
from services.chassis.web import needs_role
from services.quoting.errors import CursorOfAnotherEpoch, CursorUnreadable
from services.quoting.service.documents import quote_document, status_now
from services.quoting.service.follow import done_within
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import Start
from shared_schemas.quote import Quote, QuoteAccepted

Sales = Annotated[Caller, Depends(needs_role("sales"))]
Reader = Annotated[Caller, Depends(needs_role("sales", "erp", "engineer"))]
"""Who reads quotes: an engineer sees what its rates come to, and asks for none."""
SalesOrEngineer = Annotated[Caller, Depends(needs_role("sales", "engineer"))]
Erp = Annotated[Caller, Depends(needs_role("erp"))]
Most = Annotated[int, Query(ge=1, le=200, description="Entries on a page.")]
Revision = Annotated[int | None, Query(ge=1, le=999_999, description="A revision; without it the latest.")]


def the_time() -> datetime:
    """The moment of a request; a test puts another in its place."""
    return datetime.now(UTC)


Now = Annotated[datetime, Depends(the_time)]


T = TypeVar("T")
MOST_ACCEPTING = 8
_accepting = CapacityLimiter(MOST_ACCEPTING)


async def accepting(work: Callable[..., T], *given: Any, **named: Any) -> T:
    """What accepting a request comes to, in one of a few threads kept for that.

    Whoever accepts asks the rates service for its latest revision. Where that is a route of this very process, it needs a
    thread too, and would not get one if all of them were waiting for it.
    """
    return await to_thread.run_sync(partial(work, *given, **named), limiter=_accepting)


@dataclass(frozen=True)
class Asking:
    """How a request came: under which key of the caller's own, on which trace, and how many seconds it would wait."""

    idempotency_key: str | None
    trace: str
    wait_s: int | None


def asking(
    http: Request,
    idempotency_key: Annotated[
        str | None, Header(min_length=1, max_length=200, description="Your own name for this request.")
    ] = None,
    prefer: Annotated[
        str | None,
        Header(description=f"`wait=N`: answer with the outcome if there is one within N seconds, at most {LONGEST_WAIT_S}."),
    ] = None,
) -> Asking:
    """The headers of a request that starts work. What Prefer says that cannot be read is passed over (RFC 7240)."""
    return Asking(
        idempotency_key=idempotency_key.strip('"') if idempotency_key else None,
        trace=http.state.trace,
        wait_s=preferred_wait_s(http.headers.getlist("prefer")),
    )


How = Annotated[Asking, Depends(asking)]


def finished_answers(kind: type[BaseModel]) -> dict[int | str, dict[str, Any]]:
    """The answers with an outcome that a caller who prefers to wait may get, for OpenAPI."""
    applied = {"Preference-Applied": {"schema": {"type": "string"}, "description": "The wait that was granted."}}
    return {
        200: {"model": kind, "headers": applied, "description": "The outcome of what was asked under this Idempotency-Key before"},
        201: {"model": kind, "headers": applied, "description": "The outcome, within the time that Prefer named"},
    }


async def answer(
    *, accepted: BaseModel, place: str, is_new: bool, how: Asking, is_done: Callable[[], bool], outcome: Callable[[], bytes]
) -> Response:
    """202 with where to look; or, when the caller would wait and it is done in time, 201 with the outcome (200 if it was asked before)."""
    headers = {"Location": place}
    if how.wait_s:
        headers["Preference-Applied"] = f"wait={how.wait_s}"
        if await done_within(is_done, how.wait_s):
            return Response(
                await run_in_threadpool(outcome), 201 if is_new else 200, headers=headers, media_type="application/json"
            )
    headers["Retry-After"] = "1"
    return Response(accepted.model_dump_json(), 202, headers=headers, media_type="application/json")


async def quote_answer(begun: Start, *, is_new: bool, how: Asking, now: datetime, tools: Resources) -> Response:
    """The answer to a request that became the quote `begun`."""
    store = QuoteStore(tools.database)
    place = f"/v1/quotes/{begun.quote_number}" + (f"?revision={begun.revision}" if begun.revision > 1 else "")

    def outcome() -> bytes:
        row = store.row(begun.number)
        return quote_document(row, status_now(row, tools), today=now.date())

    return await answer(
        accepted=QuoteAccepted(number=begun.quote_number, revision=begun.revision, status="accepted", links={"self": place}),
        place=place,
        is_new=is_new,
        how=how,
        is_done=lambda: store.is_settled(begun.number),
        outcome=outcome,
    )


QUOTE_FINISHED = finished_answers(Quote)


def cursor_of(tools: Resources, kind: str, position: int, within: int | None = None) -> str:
    """The cursor, opaque to the caller, that stands for a position in lists of that kind, and for a place `within` it, in this epoch."""
    place = f"{kind}{position}" if within is None else f"{kind}{position}.{within}"
    return base64.urlsafe_b64encode(f"{place}@{tools.epoch.token}".encode()).decode().rstrip("=")


def read_cursor(tools: Resources, kind: str, cursor: str | None) -> int | None:
    """The position that a cursor stands for, `None` without one; raises `CursorUnreadable` for one of another kind, `CursorOfAnotherEpoch`."""
    places = read_places(tools, kind, cursor)
    return places and places[0]


CURSOR = r"{kind}(\d{{1,18}})(?:\.(\d{{1,9}}))?(?:@([0-9a-f]{{12}}))?"
"""Kind, position, place within it, epoch. A cursor of before there were epochs names none: it is of the first."""


def read_places(tools: Resources, kind: str, cursor: str | None) -> tuple[int, int] | None:
    """The position that a cursor stands for and the place within it, 0 if it names none.

    Raises `CursorUnreadable`, and `CursorOfAnotherEpoch` for one that was given out before a backup was restored.
    """
    if cursor is None:
        return None
    try:
        plain = base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)).decode()
    except ValueError as fault:
        raise CursorUnreadable(cursor) from fault
    read = re.fullmatch(CURSOR.format(kind=kind), plain, re.ASCII)
    if read is None:
        raise CursorUnreadable(cursor)
    position, within, token = read.groups()
    if token != tools.epoch.token and not (token is None and tools.epoch.number == 1):
        raise CursorOfAnotherEpoch(cursor, tools.epoch.began_at)
    return int(position), int(within or 0)
