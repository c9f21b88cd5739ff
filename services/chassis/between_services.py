"""How one service hears of another: it asks over HTTP with the key of the suite, and a doorbell tells it when there is something to ask for."""

from __future__ import annotations

import logging
from functools import cache
from typing import TypeVar

import httpx
from pydantic import BaseModel

from services.chassis import tracing
from services.chassis.resources import Resources
from shared_schemas.pipeline import TASKS

log = logging.getLogger(__name__)

Page = TypeVar("Page", bound=BaseModel)


@cache
def client_of(origin: str, service_key: str) -> httpx.Client:
    """The client with which this process asks a service of the suite."""
    return httpx.Client(
        base_url=origin,
        headers={"Authorization": f"Bearer {service_key}", "Accept": "application/json"},
        timeout=httpx.Timeout(10, connect=2),
        event_hooks={"request": [tracing.in_our_trace]},
    )


def page_after(place: str, shape: type[Page], *, of: str, origin: str, after: int, most: int, resources: Resources) -> Page:
    """What a service, named `of`, has at `place` after a position; raises `httpx.TransportError` when it does not answer, `ValidationError` for another shape."""
    answer = client_of(origin, resources.settings.service_key.get_secret_value()).get(place, params={"after": after, "limit": most})
    if answer.status_code != 200:
        raise httpx.TransportError(f"{of} answered {answer.status_code}")
    return shape.model_validate_json(answer.content)


def ring(task: str, number: str, resources: Resources) -> None:
    """Tell a service that there is something for it. If it does not hear, it finds that when it next looks by itself."""
    try:
        resources.send(task, TASKS[task], number, 1, tracing.trace_of(None))
    except Exception as fault:
        log.warning("a service was not told; it will look by itself", extra={"task": task, "number": number, "why": str(fault)})
