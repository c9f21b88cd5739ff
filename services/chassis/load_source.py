"""Where a process gets snapshots of the book of load: over HTTP from the service that keeps the book, once each, then from memory."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from threading import Lock
from typing import Any, Protocol

import httpx
from cachetools import LRUCache, cachedmethod

from services.chassis import tracing
from shared_schemas.load import LoadSnapshot, LoadSnapshotPage
from shared_schemas.problem import Explained

log = logging.getLogger(__name__)

MOST_KEPT = 8
ASKED_AGAIN_AFTER_S = 2.0
"""Which snapshot is the newest, or that nobody says, is asked again after so long."""


class LoadUnavailable(Exception):
    """The snapshot cannot be had just now; trying again later may help."""


class SnapshotNotFound(Explained):
    """No snapshot of that number."""

    def __init__(self, number: int) -> None:
        self.number = number
        super().__init__(f"There is no snapshot {number} of the book of load.")


class LoadSource(Protocol):
    """Gives snapshots by number, and the newest one that is known."""

    def snapshot(self, number: int) -> LoadSnapshot: ...

    def latest(self) -> LoadSnapshot | None: ...


def pinned_snapshot(source: LoadSource, number: int | None) -> LoadSnapshot | None:
    """The snapshot that something is pinned to, `None` for what was made without a book."""
    return None if number is None else source.snapshot(number)


class HttpLoadSource:
    """Snapshots from `orders_url`, shown `service_key`. A snapshot never changes, so it is asked for once."""

    def __init__(
        self, orders_url: str, service_key: str, *, transport: httpx.BaseTransport | None = None, clock: Callable[[], float] = time.monotonic
    ) -> None:  # fmt: skip
        self._client = httpx.Client(
            base_url=orders_url,
            headers={"Authorization": f"Bearer {service_key}", "Accept": "application/json"},
            timeout=httpx.Timeout(5, connect=1),
            transport=transport,
            event_hooks={"request": [tracing.in_our_trace]},
        )
        self._clock = clock
        self._kept: LRUCache[Any, LoadSnapshot] = LRUCache(MOST_KEPT)
        self._lock = Lock()
        self._asking = Lock()
        self._asked_at: float | None = None
        self._newest: LoadSnapshot | None = None

    @cachedmethod(lambda self: self._kept, lock=lambda self: self._lock)
    def snapshot(self, number: int) -> LoadSnapshot:
        """The snapshot of that number. Raises `SnapshotNotFound`, or `LoadUnavailable` when the service does not answer."""
        answer = self._asked(f"/v1/load/snapshots/{number}")
        if answer.status_code == 404:
            raise SnapshotNotFound(number)
        return LoadSnapshot.model_validate_json(_good(answer))

    def latest(self) -> LoadSnapshot | None:
        """The newest snapshot; while the service does not answer the newest known here, `None` where none ever was."""
        with self._asking:
            now = self._clock()
            if self._asked_at is None or now - self._asked_at >= ASKED_AGAIN_AFTER_S:
                try:
                    page = LoadSnapshotPage.model_validate_json(_good(self._asked("/v1/load/snapshots?limit=1")))
                    if page.items:
                        self._newest = self.snapshot(page.items[0].number)
                except (LoadUnavailable, SnapshotNotFound) as fault:
                    log.warning("the newest book of load is not known", extra={"why": str(fault)})
                self._asked_at = self._clock()
            return self._newest

    def _asked(self, path: str) -> httpx.Response:
        try:
            return self._client.get(path)
        except httpx.TransportError as fault:
            raise LoadUnavailable(f"the orders service does not answer: {fault}") from fault


def _good(answer: httpx.Response) -> bytes:
    if answer.status_code != 200:
        raise LoadUnavailable(f"the orders service answered {answer.status_code}")
    return answer.content
