"""The feed as server-sent events: what was, what comes, where a listener goes on, and how a stream ends."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import httpx
import pytest
from sqlalchemy.exc import OperationalError

from services.chassis.database import Database
from services.chassis.epoch import begin_epoch
from services.chassis.migrate import PARTS
from services.chassis.open_streams import OpenStreams
from services.quoting.api import estimate_stream
from services.quoting.store.feed import Feed
from services.quoting.store.life import LifeStore
from shared_schemas.rates import Rates
from tests.integration.test_quoting_feed import accepted, declined, page, ready
from tests.integration.test_quoting_life_routes import Shop

EVENTS = "/v1/estimates/events"


@pytest.fixture
def shop(database: Database, rates: Rates) -> Shop:
    return Shop(database, rates)


class Listener:
    """A stream that is listened to as a server would send it; what came so far is `text`."""

    def __init__(self, shop: Shop, query: str = "", **headers: str) -> None:
        shown = {"authorization": f"Bearer {shop.keys['erp']}", **headers}
        self._app = shop.app
        self._scope = {
            "type": "http", "asgi": {"version": "3.0", "spec_version": "2.3"}, "http_version": "1.1", "method": "GET", "scheme": "http",
            "path": EVENTS, "raw_path": EVENTS.encode(), "root_path": "", "query_string": query.encode(), "client": ("127.0.0.1", 1),
            "server": ("shop", 80), "headers": [(name.encode(), value.encode()) for name, value in shown.items()],
        }  # fmt: skip
        self.status = 0
        self.text = ""
        self._came = asyncio.Event()
        self._gone = asyncio.Event()
        self._task = asyncio.create_task(self._listen())

    async def _listen(self) -> None:
        await self._app(self._scope, self._receive, self._send)

    async def _receive(self) -> dict[str, Any]:
        await self._gone.wait()
        return {"type": "http.disconnect"}

    async def _send(self, message: Any) -> None:
        self.status = message.get("status", self.status)
        self.text += message.get("body", b"").decode()
        self._came.set()

    async def until(self, words: str) -> None:
        """Wait until `words` came."""
        async with asyncio.timeout(20):
            while words not in self.text:
                await self._came.wait()
                self._came.clear()

    async def ended(self) -> None:
        """Wait until the stream has ended by itself."""
        async with asyncio.timeout(20):
            await self._task

    async def leave(self) -> None:
        """Close the connection."""
        self._gone.set()
        await self.ended()


def events_of(text: str) -> list[dict[str, str]]:
    """Events as a browser reads them: the fields of each block that has data."""
    blocks = [dict(line.split(": ", 1) for line in block.splitlines()) for block in text.split("\n\n") if block]
    return [block for block in blocks if "data" in block]


def heard(shop: Shop, query: str = "", **headers: str) -> list[dict[str, str]]:
    """What a stream gives that ends as soon as there is nothing more."""
    answer = shop.ask("GET", f"{EVENTS}?{query}", role="erp", headers=headers)
    assert answer.status_code == 200, answer.text
    return events_of(answer.text)


@pytest.fixture
def brief(monkeypatch: pytest.MonkeyPatch) -> None:
    """Streams end when all that there is was sent."""
    monkeypatch.setattr(estimate_stream, "LONGEST_S", 0.0)


def test_what_was_comes_first_with_cursors_that_the_pages_take_too(
    shop: Shop, database: Database, brief: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(estimate_stream, "READ_AT_ONCE", 2)
    first, second, _ = ready(database, 3)
    LifeStore(database).decide(first, accepted())
    LifeStore(database).decide(second, declined())
    answer = shop.ask("GET", EVENTS, role="erp")
    assert answer.headers["Content-Type"].startswith("text/event-stream")
    assert (answer.headers["X-Accel-Buffering"], "retry: 2000" in answer.text) == ("no", True)
    events = events_of(answer.text)
    pages = page(shop)
    assert [json.loads(one["data"]) for one in events] == pages["items"]
    assert [one["event"] for one in events] == ["ready", "ready", "ready", "accepted", "declined"]
    assert events[-1]["id"] == pages["next"]
    assert heard(shop, **{"Last-Event-ID": events[2]["id"]}) == events[3:]
    assert heard(shop, f"after={events[0]['id']}", **{"Last-Event-ID": events[2]["id"]}) == events[3:], "the newer one counts"
    assert heard(shop, f"after={events[3]['id']}") == events[4:]
    assert heard(shop, "type=declined&since=2026-01-01T00:00:00Z") == events[4:]
    assert heard(shop, "since=2027-01-01T00:00:00Z") == []


def test_what_happens_while_it_is_open_comes_at_once_and_a_listener_who_comes_back_misses_nothing(
    shop: Shop, database: Database
) -> None:
    first, second, third = ready(database, 3)
    start = page(shop)["next"]
    decide = LifeStore(database).decide

    async def listened() -> tuple[str, str]:
        one = Listener(shop, f"after={start}&type=accepted")
        await one.until("retry")
        await asyncio.to_thread(decide, first, declined())
        await asyncio.to_thread(decide, second, accepted())
        await one.until("event: accepted")
        await one.leave()
        await asyncio.to_thread(decide, third, accepted())
        again = Listener(shop, f"after={start}&type=accepted", **{"last-event-id": events_of(one.text)[-1]["id"]})
        await again.until("event: accepted")
        await again.leave()
        return one.text, again.text

    texts = asyncio.run(listened())
    told = [[json.loads(one["data"])["number"] for one in events_of(text)] for text in texts]
    assert told == [[second.replace("Q", "E", 1)], [third.replace("Q", "E", 1)]]


def test_of_a_key_four_are_open_and_who_leaves_makes_room(shop: Shop) -> None:
    async def opened() -> list[int]:
        listeners = [Listener(shop) for _ in range(4)]
        for one in listeners:
            await one.until("retry")
        fifth = Listener(shop)
        await fifth.ended()
        await listeners[0].leave()
        sixth = Listener(shop)
        await sixth.until("retry")
        for one in (*listeners[1:], sixth):
            await one.leave()
        return [one.status for one in (*listeners, fifth, sixth)]

    assert asyncio.run(opened()) == [200] * 4 + [429, 200]


def test_a_process_that_is_told_to_end_ends_its_streams_and_waits(shop: Shop) -> None:
    streams: OpenStreams = shop.app.state.streams

    async def ended() -> str:
        one = Listener(shop)
        await one.until("retry")
        streams.must_end = True
        await one.ended()
        return one.text

    assert events_of(asyncio.run(ended())) == []
    answer = shop.ask("GET", "/v1/estimates", role="erp", headers={"Prefer": "wait=60"})
    assert (answer.status_code, answer.json()["items"]) == (200, [])


def test_a_head_of_a_stream_has_an_end(shop: Shop) -> None:
    answer = shop.ask("HEAD", EVENTS, role="erp")
    assert (answer.status_code, answer.content) == (200, b"")
    assert shop.app.state.streams._of_key.total() == 0, "its place is free again"


def test_a_new_epoch_ends_a_stream_that_was_open_and_refuses_its_cursor(
    shop: Shop, database: Database, rates: Rates, brief: None
) -> None:
    ready(database)
    (event,) = heard(shop)
    begin_epoch(database, PARTS, now=datetime.now(UTC), why="restored")
    (last,) = heard(shop, f"after={event['id']}")
    assert (last["event"], json.loads(last["data"])["status"], "id" in last) == ("gone", 410, False)
    restored = Shop(database, rates)
    for headers, query in (({"Last-Event-ID": event["id"]}, ""), ({}, f"after={event['id']}")):
        answer = restored.ask("GET", f"{EVENTS}?{query}", role="erp", headers=headers)
        assert (answer.status_code, answer.headers["Content-Type"]) == (410, "application/problem+json")
    assert [one["event"] for one in heard(restored)] == ["ready"], "from the beginning"


@pytest.mark.parametrize(("query", "status"), [("type=sold", 422), ("limit=5", 422), ("after=x", 422), ("since=now", 422)])
def test_what_cannot_be_asked_of_a_stream_is_named_before_it_begins(shop: Shop, query: str, status: int) -> None:
    answer: httpx.Response = shop.ask("GET", f"{EVENTS}?{query}", role="erp")
    assert (answer.status_code, answer.json()["type"]) == (status, "/problems#invalid")
    assert shop.ask("GET", EVENTS, role="sales").status_code == 403


def test_a_database_that_goes_away_ends_a_stream_and_is_a_problem_to_the_next(
    shop: Shop, brief: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain: Callable[[Feed], Any] = Feed.end
    looks = iter(range(100))

    def away(self: Feed) -> Any:
        if next(looks) > 0:
            raise OperationalError("select", {}, Exception("gone"))
        return plain(self)

    monkeypatch.setattr(Feed, "end", away)
    assert heard(shop) == []
    assert shop.ask("GET", EVENTS, role="erp").status_code == 503
