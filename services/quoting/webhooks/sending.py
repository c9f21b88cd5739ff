"""One message to one endpoint: a POST that follows no redirect, reads little of the answer and is over within ten seconds."""

from __future__ import annotations

import logging
import ssl
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Protocol

import httpcore
import httpx

from services.chassis.problems import clean
from services.chassis.version import VERSION
from services.quoting.webhooks.targets import Guard, GuardedBackend, TargetRefused

log = logging.getLogger(__name__)

SENT_WITHIN_S = 10.0
"""Name, connection, TLS, request and answer together."""
MOST_BYTES_READ = 16 * 1024
"""Of an answer, whose text is of no use to us; what is longer is cut off with the connection."""
GONE = 410


@dataclass(frozen=True)
class Answer:
    """What became of a message: the status it was answered with, or the `fault` for which there was no answer."""

    status: int | None
    fault: str | None = None
    retry_after: str | None = None

    @property
    def is_taken(self) -> bool:
        """Whether the endpoint has taken the message: any 2xx."""
        return self.status is not None and 200 <= self.status < 300


class Sender(Protocol):
    """Sends a message and says what became of it; raises nothing that the endpoint could cause."""

    def __call__(self, url: str, headers: Mapping[str, str], body: bytes) -> Answer: ...


@cache
def trusted() -> ssl.SSLContext:
    """The authorities whose certificates count, read once."""
    return httpx.create_ssl_context()


class HttpSender:
    """Sends over the network, to what the guard lets pass. Each message has a connection of its own, so that each is looked up and checked."""

    def __init__(self, guard: Guard, *, tls: ssl.SSLContext | None = None, clock: Callable[[], float] = time.monotonic) -> None:
        self._guard = guard
        self._tls = tls
        self._clock = clock

    def __call__(self, url: str, headers: Mapping[str, str], body: bytes) -> Answer:
        """Send a message; the answer, or why there was none."""
        try:
            return self._sent(self._guard.target(url), headers, body)
        except TargetRefused as fault:
            return Answer(None, clean(f"refused: {fault}"))
        except httpcore.TimeoutException:
            return Answer(None, f"no answer within {SENT_WITHIN_S:g} s")
        except Exception as fault:
            # Whatever else: an endpoint that could make this raise would be tried for ever and never be dead.
            return Answer(None, clean(f"{type(fault).__name__}: {str(fault)[:100]}"))

    def _sent(self, target: httpx.URL, headers: Mapping[str, str], body: bytes) -> Answer:
        backend = GuardedBackend(self._guard, clock=self._clock, ends_at=self._clock() + SENT_WITHIN_S)
        port = target.port or (443 if target.scheme == "https" else 80)
        place = httpcore.URL(scheme=target.raw_scheme, host=target.raw_host, port=port, target=target.raw_path)
        head = {
            "Host": target.netloc.decode("ascii"),
            "User-Agent": f"Blankwright/{VERSION}",
            "Accept": "*/*",
            "Connection": "close",
            **headers,
        }
        every = dict.fromkeys(("connect", "read", "write", "pool"), SENT_WITHIN_S)
        tls = (self._tls or trusted()) if target.scheme == "https" else None
        with (
            httpcore.ConnectionPool(
                ssl_context=tls, max_connections=1, max_keepalive_connections=0, network_backend=backend
            ) as pool,
            pool.stream("POST", place, headers=list(head.items()), content=body, extensions={"timeout": every}) as answer,
        ):
            known = {name.lower(): value for name, value in answer.headers}
            told = known.get(b"retry-after")
            _read_some(answer)
            return Answer(answer.status, retry_after=told.decode("latin-1")[:100] if told else None)


def _read_some(answer: httpcore.Response) -> None:
    """Let the endpoint finish what is short; whatever goes wrong in that, it has answered."""
    size = 0
    try:
        for piece in answer.iter_stream():
            size += len(piece)
            if size > MOST_BYTES_READ:
                return
    except (httpcore.TimeoutException, httpcore.NetworkError, httpcore.ProtocolError) as fault:
        log.debug("the rest of an answer was not read", extra={"why": type(fault).__name__})
