"""Is this process alive, can it work, and what do its problem types mean?"""

from __future__ import annotations

from functools import cache
from html import escape
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse

from services.chassis.heartbeat import SIGN_LIVES_S, sign_of
from services.chassis.migrate import current, newest
from services.chassis.problems import PROBLEM_TYPES
from shared_schemas.pipeline import WITH_WORKERS

router = APIRouter()

newest_once = cache(newest)


@router.get("/healthz", summary="Whether this process is alive", responses={200: {"description": "It is"}})
def healthz() -> dict[str, str]:
    return {"status": "alive"}


@router.get(
    "/readyz",
    summary="Whether this process can work: asks PostgreSQL, its schema, and Redis; tells of workers",
    responses={503: {}},
)
def readyz(request: Request) -> JSONResponse:
    resources = request.app.state.resources
    parts: dict[str, Any] = {
        "postgresql": _asked(lambda: _schema(resources)),
        "redis": _asked(lambda: bool(resources.redis.ping())),
    }
    # Quotes are taken without workers, and wait: an API whose workers are away stays where requests are sent to.
    workers = _asked(lambda: _workers(resources))
    good = all(value == "yes" for value in parts.values())
    return JSONResponse({"ready": good, **parts, "workers": workers}, 200 if good else 503)


@router.get("/problems", summary="What each type of problem means", response_class=HTMLResponse)
def problems() -> str:
    paragraphs = "".join(
        f'<h2 id="{slug}">{escape(title)} ({status})</h2><p>{escape(remedy)}</p>'
        for slug, (status, title, remedy) in PROBLEM_TYPES.items()
    )
    return f'<!doctype html><html lang="en"><meta charset="utf-8"><title>Problems</title><h1>Problems</h1>{paragraphs}</html>'


def _schema(resources: Any) -> bool | str:
    # Newer tables are fine: while a release is rolled out, or back, this code works on the tables of the next one.
    at, wanted = current(resources.database), newest_once()
    behind = [f"{part} is at {at[part] or 'nothing'}, not {wanted[part]}" for part in wanted if at[part] < wanted[part]]
    return "; ".join(behind) + "; run the migrations" if behind else True


def _workers(resources: Any) -> bool | str:
    """Whether every service that works in the background has a worker that gave a sign of life lately; otherwise those that have none."""
    signs = list(resources.redis.scan_iter(sign_of(resources.settings.deployment, "*"), count=1000))
    served = {name for said in (resources.redis.mget(signs) if signs else ()) if said for name in said.decode().split(",")}
    away = [service for service in WITH_WORKERS if service not in served]
    return f"no sign of life for {SIGN_LIVES_S} s from a worker of {', '.join(away)}" if away else True


def _asked(question: Any) -> str:
    try:
        answer = question()
    except Exception as fault:
        return f"no: {type(fault).__name__}"
    return "yes" if answer is True else f"no: {answer}"
