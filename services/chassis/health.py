"""Is this process alive, can it work, and what do its problem types mean?

`/livez` says that the process answers and asks nobody. `/readyz` says whether it can do what it is there for, and names every part
that is not well: an API that can take quotes without Redis is ready, and says that they wait.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cache
from html import escape
from typing import Any, Literal

import redis
from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse
from sqlalchemy import text

from services.chassis.checks import Check, Checks
from services.chassis.database import Database
from services.chassis.heartbeat import SIGN_LIVES_S, workers_of_queues
from services.chassis.migrate import PARTS, current, newest
from services.chassis.problems import PROBLEM_TYPES
from services.chassis.resources import Resources
from services.chassis.version import VERSION
from shared_schemas.base import Contract
from shared_schemas.pipeline import QUEUES

router = APIRouter(tags=["health"])

newest_once = cache(newest)

TAKE_WRITES = frozenset({"quoting", "orders", "rates"})
"""Services whose routes write to PostgreSQL. The other APIs only read there who a key belongs to."""


class Alive(Contract):
    """A process that answers, and its release."""

    status: Literal["alive"]
    version: str


class Readiness(Contract):
    """Whether a process can do its work; `parts` says of each part "yes", or what it lacks. `degraded`: some part does."""

    ready: bool
    degraded: bool
    parts: dict[str, str]
    version: str


ALIVE: dict[int | str, dict[str, Any]] = {200: {"description": "It is"}}


def checks(resources: Resources, of_services: Iterable[Check] = ()) -> Checks:
    """What this process is to be asked: what its services need of the parts, and `of_services`, which they add themselves."""
    return Checks(resources, (*_of_parts(resources), *of_services))


def _of_parts(resources: Resources) -> Iterator[Check]:
    served = set(resources.settings.services)
    yield Check("postgresql", tables_behind)
    if served & TAKE_WRITES:
        yield Check("writes", writes_refused, kept_s=resources.settings.write_check_every_s)
    if "quoting" in served:
        yield Check("redis", redis_away, needed=False)
        yield Check("workers", workers_away, needed=False)


@router.get("/livez", summary="Whether this process is alive; asks nobody else", responses=ALIVE)
async def livez() -> Alive:
    return Alive(status="alive", version=VERSION)


@router.get("/healthz", summary="The same as /livez", responses=ALIVE)
async def healthz() -> Alive:
    return Alive(status="alive", version=VERSION)


@router.get(
    "/readyz",
    summary="Whether this process can do its work; names what it misses, within a second",
    response_model=Readiness,
    responses={503: {"model": Readiness, "description": "It cannot do its work just now"}},
)
async def readyz(request: Request) -> JSONResponse:
    asked: Checks = request.app.state.checks
    answers = await asked.answers()
    ready = all(one.words is None for one in answers if one.check.needed)
    body = {
        "ready": ready,
        "degraded": any(one.words is not None for one in answers),
        "parts": {one.check.name: one.words or "yes" for one in answers},
        "version": VERSION,
    }
    return JSONResponse(body, 200 if ready else 503)


@router.get("/problems", summary="What each type of problem means", response_class=HTMLResponse)
def get_problem_types() -> str:
    paragraphs = "".join(
        f'<h2 id="{slug}">{escape(title)} ({status})</h2><p>{escape(remedy)}</p>'
        for slug, (status, title, remedy) in PROBLEM_TYPES.items()
    )
    return f'<!doctype html><html lang="en"><meta charset="utf-8"><title>Problems</title><h1>Problems</h1>{paragraphs}</html>'


def tables_behind(resources: Resources) -> str | None:
    """Which tables that this process works on are older than its code."""
    # Newer tables are fine: while a release is rolled out, or back, this code works on the tables of the next one.
    parts = [part for part in PARTS if part == "chassis" or part in resources.settings.services]
    at, wanted = current(resources.database, parts), newest_once()
    behind = [f"{part} is at {at[part] or 'nothing'}, not {wanted[part]}" for part in parts if at[part] < wanted[part]]
    return f"no: {'; '.join(behind)}; run the migrations" if behind else None


def writes_refused(resources: Resources) -> str | None:
    """Whether PostgreSQL takes a write; raises what it says where it does not."""
    write_and_take_back(resources.database)
    return None


def write_and_take_back(database: Database) -> None:
    """Write 250 kB of new pages, which a full disk has no room for; raises what the database says."""
    # A row that is updated finds room in its page on a full disk too. The table is this session's own: no lock meets another's.
    with database.engine.connect() as connection:
        connection.execute(text("create temporary table write_check as select 'filler'::name from generate_series(1, 2500)"))
        connection.rollback()


def redis_away(resources: Resources) -> str | None:
    """Whether Redis takes a write. Quotes are taken without it, and the sweeper starts them when it is back."""
    try:
        resources.redis.set(f"{resources.settings.deployment}:write-check", "1", ex=60)
    except (redis.ConnectionError, redis.TimeoutError) as fault:
        return f"away, quotes are taken and wait: {type(fault).__name__}"
    except redis.ResponseError as fault:
        return f"refuses writes, quotes are taken and wait: {str(fault)[:80]}"
    return None


def workers_away(resources: Resources) -> str | None:
    """The queues that no worker consumes which gave a sign of life lately."""
    # Quotes are taken without workers, and wait: an API whose workers are away stays where requests are sent to.
    workers = workers_of_queues(resources.redis, resources.settings.deployment)
    away = [queue for queue in QUEUES if not workers[queue]]
    return f"no: no sign of life for {SIGN_LIVES_S} s from a worker of {', '.join(away)}" if away else None
