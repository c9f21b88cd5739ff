"""Routes by which an administrator's desk archives quotes that are over, removes their documents once it has them, and brings them back."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from typing import Annotated

from fastapi import APIRouter, Depends, Query

from services.chassis.json_bodies import CheckedRoute
from services.chassis.keys import Caller
from services.chassis.web import Tools, answers, needs_role
from services.quoting.api.parts import Now, cursor_of, read_cursor
from services.quoting.store.archive import ArchiveStore
from shared_schemas.archive import LARGEST_RETURN_BYTES, MOST_IN_A_PAGE, ArchiveDone, ArchivePage, ArchiveRemoval, ArchiveReturn
from shared_schemas.base import Day

router = APIRouter(route_class=CheckedRoute)

Admin = Annotated[Caller, Depends(needs_role())]
RETURNS = "/v1/archive/returns"
LARGER_BODIES = {RETURNS: LARGEST_RETURN_BYTES}


def _midnight(day: date) -> datetime:
    return datetime.combine(day, time(), UTC)


@router.get(
    "/v1/archive",
    summary="Quotes that are over, oldest first, with everything that is kept of them",
    response_model=ArchivePage,
    responses=answers("invalid", "gone"),
)
def list_archivable(
    caller: Admin,
    tools: Tools,
    now: Now,
    before: Annotated[Day, Query(description="Settled and decided before that day, and no longer open.")],
    cursor: str | None = None,
    limit: Annotated[int, Query(ge=1, le=MOST_IN_A_PAGE, description="Entries on a page.")] = 20,
) -> ArchivePage:
    store = ArchiveStore(tools.database)
    after = read_cursor(tools, "a", cursor) or 0
    quotes, last = store.page(before=_midnight(before), today=now.date(), after=after, most=limit)
    return ArchivePage(items=tuple(quotes), next=None if last is None else cursor_of(tools, "a", last))


@router.post(
    "/v1/archive/removals",
    summary="Remove the documents of quotes that an archive has; their rows stay",
    response_model=ArchiveDone,
    responses=answers("not-json", "invalid", "body-too-large", "unsupported-media-type"),
)
def remove_archived(asked: ArchiveRemoval, caller: Admin, tools: Tools, now: Now) -> ArchiveDone:
    done, untouched = ArchiveStore(tools.database).remove(
        asked.archive, asked.revisions, before=_midnight(asked.settled_before), today=now.date()
    )
    return ArchiveDone(done=done, untouched=tuple(untouched))


@router.post(
    RETURNS,
    summary="Bring the documents of quotes back from an archive, byte for byte",
    response_model=ArchiveDone,
    responses=answers("not-json", "invalid", "body-too-large", "unsupported-media-type"),
)
def return_archived(asked: ArchiveReturn, caller: Admin, tools: Tools) -> ArchiveDone:
    done, untouched = ArchiveStore(tools.database).put_back(asked.revisions)
    return ArchiveDone(done=done, untouched=tuple(untouched))
