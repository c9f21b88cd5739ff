"""How one service hears of another: it asks over HTTP with the key of the suite, and a doorbell tells it when there is something to ask for."""

from __future__ import annotations

import logging
from functools import cache

import httpx

from services.chassis import tracing
from services.chassis.resources import Resources
from shared_schemas.pipeline import TASKS

log = logging.getLogger(__name__)


@cache
def client_of(origin: str, service_key: str) -> httpx.Client:
    """The client with which this process asks a service of the suite."""
    return httpx.Client(
        base_url=origin,
        headers={"Authorization": f"Bearer {service_key}", "Accept": "application/json"},
        timeout=httpx.Timeout(10, connect=2),
        event_hooks={"request": [tracing.in_our_trace]},
    )


def ring(task: str, number: str, resources: Resources) -> None:
    """Tell a service that there is something for it. If it does not hear, it finds that when it next looks by itself."""
    try:
        resources.send(task, TASKS[task], number, 1, tracing.trace_of(None))
    except Exception as fault:
        log.warning("a service was not told; it will look by itself", extra={"task": task, "number": number, "why": str(fault)})
