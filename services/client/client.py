"""One server and one key, as Python calls: contracts in, contracts out, errors of ours.

with Client(url="http://127.0.0.1:8750", key=key) as client:
    accepted = client.request_quote(request)
    quote = client.wait_for_quote(accepted.number, timeout_s=60)

`AsyncClient` has the same methods, which are awaited. What may be asked stands in `calls/`, and is a value until one of the two sends it.
"""

from __future__ import annotations

import asyncio
import random
import time
import uuid
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar

import httpx

from services.client.call import Asking, Call, Key, Means, Pages, Pause, sent_query
from services.client.errors import HeaderUnusable, ServerUnreachable
from services.client.following import SILENCE_S, Following, Stream
from services.client.journal import Journal
from services.client.operation import Asynchronous, Blocking
from services.client.operations import Operations
from services.client.patience import Patience

T = TypeVar("T")
LOOPBACK = ("127.0.0.1", "::1", "localhost")


class Client(Operations, Blocking):
    """A client that blocks. Safe to keep and to share between threads; close it, or use it in a `with`.

    `patience` says how often a request is sent again; `draw` (0 to 1) scatters its waits. Every method raises errors of
    `services.client.errors` and nothing of the HTTP library.
    """

    def __init__(
        self, *, url: str, key: str, timeout_s: float = 30.0, patience: Patience | None = None, journal: str | Path | None = None,
        transport: httpx.BaseTransport | None = None,
        clock: Callable[[], float] = time.monotonic, sleep: Callable[[float], None] = time.sleep, draw: Callable[[], float] = random.random,
    ) -> None:  # fmt: skip
        self._url = url.rstrip("/")
        self._timeout_s = timeout_s
        self._means = Means(patience=patience or Patience(), clock=clock, draw=draw)
        self._sleep = sleep
        self._journal = Journal(journal) if journal is not None else None
        with translated(self._url):
            self._http = httpx.Client(transport=transport, **_settings(self._url, key, timeout_s))

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Give the connections back."""
        self._http.close()

    def send(self, asking: Asking[T]) -> T:
        """The answer of a call or a wait."""
        steps, came = asking.steps(self._means), None
        while True:
            try:
                came = self._done(steps.send(came))
            except StopIteration as end:
                return end.value  # type: ignore[no-any-return]  # what steps return is what they are asked for

    def follow(self, stream: Stream[T]) -> Iterator[T]:
        """What a stream brings, as it comes; where it breaks off it is taken up again."""
        following = Following(stream, self._means)
        while True:
            try:
                with translated(self._url), self._http.stream(**_listened(following.call(), self._timeout_s)) as answer:
                    if not answer.is_success:
                        answer.read()
                    if not following.must_retry(answer):
                        for piece in answer.iter_bytes():
                            yield from following.heard(piece, str(answer.request.url))
                            if following.is_over:
                                return
                        following.ended()
            except ServerUnreachable as fault:
                following.broke(fault)
            self._sleep(following.pause_s)

    def each(self, pages: Pages[T]) -> Iterator[T]:
        """Every item of a list, page by page."""
        cursor: str | None = None
        while True:
            page = self.send(pages.page(cursor))
            yield from page.items
            if (cursor := page.next) is None:
                return

    def _done(self, step: Call[Any] | Pause | Key) -> Any:
        match step:
            case Pause():
                return self._sleep(step.seconds)
            case Key():
                return _key_for(step.call, self._url, self._journal)
            case _:
                return self._heard(step)

    def _heard(self, call: Call[Any]) -> httpx.Response | ServerUnreachable:
        try:
            with translated(self._url):
                return self._http.request(**_sent(call, self._timeout_s))
        except ServerUnreachable as fault:
            return fault


class AsyncClient(Operations, Asynchronous):
    """A client whose methods are awaited, in asyncio; else as `Client`. Close it, or use it in an `async with`."""

    def __init__(
        self, *, url: str, key: str, timeout_s: float = 30.0, patience: Patience | None = None, journal: str | Path | None = None,
        transport: httpx.AsyncBaseTransport | None = None, clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep, draw: Callable[[], float] = random.random,
    ) -> None:  # fmt: skip
        self._url = url.rstrip("/")
        self._timeout_s = timeout_s
        self._means = Means(patience=patience or Patience(), clock=clock, draw=draw)
        self._sleep = sleep
        self._journal = Journal(journal) if journal is not None else None
        with translated(self._url):
            self._http = httpx.AsyncClient(transport=transport, **_settings(self._url, key, timeout_s))

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None) -> None:
        await self.close()

    async def close(self) -> None:
        """Give the connections back."""
        await self._http.aclose()

    async def send(self, asking: Asking[T]) -> T:
        """The answer of a call or a wait."""
        steps, came = asking.steps(self._means), None
        while True:
            try:
                came = await self._done(steps.send(came))
            except StopIteration as end:
                return end.value  # type: ignore[no-any-return]

    async def follow(self, stream: Stream[T]) -> AsyncIterator[T]:
        """What a stream brings, as it comes; where it breaks off it is taken up again."""
        following = Following(stream, self._means)
        while True:
            try:
                with translated(self._url):
                    async with self._http.stream(**_listened(following.call(), self._timeout_s)) as answer:
                        if not answer.is_success:
                            await answer.aread()
                        if not following.must_retry(answer):
                            async for piece in answer.aiter_bytes():
                                for value in following.heard(piece, str(answer.request.url)):
                                    yield value
                                if following.is_over:
                                    return
                            following.ended()
            except ServerUnreachable as fault:
                following.broke(fault)
            await self._sleep(following.pause_s)

    async def each(self, pages: Pages[T]) -> AsyncIterator[T]:
        """Every item of a list, page by page."""
        cursor: str | None = None
        while True:
            page = await self.send(pages.page(cursor))
            for item in page.items:
                yield item
            if (cursor := page.next) is None:
                return

    async def _done(self, step: Call[Any] | Pause | Key) -> Any:
        match step:
            case Pause():
                return await self._sleep(step.seconds)
            case Key() if self._journal is not None:  # a disk is waited for elsewhere
                return await asyncio.to_thread(_key_for, step.call, self._url, self._journal)
            case Key():
                return _key_for(step.call, self._url, None)
            case _:
                return await self._heard(step)

    async def _heard(self, call: Call[Any]) -> httpx.Response | ServerUnreachable:
        try:
            with translated(self._url):
                return await self._http.request(**_sent(call, self._timeout_s))
        except ServerUnreachable as fault:
            return fault


def _key_for(call: Call[Any], url: str, journal: Journal | None) -> str:
    """The Idempotency-Key of a call that has none: that of the same request before, where a journal knows it, or one that nobody else has."""
    if journal is None:
        return uuid.uuid4().hex
    return journal.key_for(f"{url} {call.named()}", lambda: uuid.uuid4().hex)


@contextmanager
def translated(url: str) -> Iterator[None]:
    """Errors of the HTTP library become ours: here, and nowhere else."""
    try:
        yield
    except httpx.TimeoutException as fault:
        unsent = isinstance(fault, (httpx.ConnectTimeout, httpx.PoolTimeout))
        raise ServerUnreachable(url, "it did not answer in time", unsent=unsent) from fault
    except (httpx.RequestError, httpx.InvalidURL) as fault:
        why = str(fault).rstrip(".") or type(fault).__name__
        raise ServerUnreachable(url, why, unsent=isinstance(fault, httpx.ConnectError)) from fault


def _settings(url: str, key: str, timeout_s: float) -> dict[str, Any]:
    """What both clients of the HTTP library are set to."""
    origin = httpx.URL(url)
    if origin.scheme not in ("http", "https") or not origin.host:
        raise httpx.UnsupportedProtocol("it is no address of the form http://host:port")
    return {
        "base_url": origin,
        "headers": _printable({"Accept": "application/json", **_authorization(key.strip())}),  # files end in a line end
        "timeout": _timeout(timeout_s),
        "verify": origin.scheme == "https",  # certificates take time to load, and plain HTTP has none
        "trust_env": origin.host not in LOOPBACK,  # a proxy cannot reach our loopback
    }


def _authorization(key: str) -> dict[str, str]:
    """Nothing without a key: the server then says what it wants."""
    return {"Authorization": f"Bearer {key}"} if key else {}


def _printable(headers: dict[str, str]) -> dict[str, str]:
    """The headers, if HTTP takes them; raises `HeaderUnusable`."""
    for name, value in headers.items():
        if not (value.isascii() and value.isprintable() and value == value.strip()):
            raise HeaderUnusable(name)
    return headers


def _timeout(timeout_s: float) -> httpx.Timeout:
    return httpx.Timeout(timeout_s, connect=min(timeout_s, 5.0))


def _sent(call: Call[Any], timeout_s: float) -> Mapping[str, Any]:
    """A call as the HTTP library is told it."""
    headers = _printable({**call.headers, **({"Idempotency-Key": call.key} if call.key else {})})
    return {
        "method": call.method, "url": call.path, "params": sent_query(call.query), "json": call.body, "content": call.content,
        "headers": headers, "timeout": _timeout(timeout_s + call.wait_for_answer_s),
    }  # fmt: skip


def _listened(call: Call[None], timeout_s: float) -> Mapping[str, Any]:
    """The call of a stream as the HTTP library is told it: between two pieces there may be a while."""
    return {**_sent(call, timeout_s), "timeout": httpx.Timeout(timeout_s, read=SILENCE_S)}
