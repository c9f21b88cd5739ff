"""Streams are taken up where they broke off, by both clients."""

from __future__ import annotations

import asyncio
from typing import Any

import httpx
import pytest

from services.client import AsyncClient, Client
from services.client.errors import AnswerNotUnderstood, ServerRefused, ServerUnreachable

URL = "http://shop.test"
BOTH = pytest.mark.parametrize("waits", [False, True], ids=["blocking", "asynchronous"])
GONE = {"type": "/problems#gone", "title": "Gone", "status": 410, "detail": "A backup was restored."}
AWAY = {"type": "/problems#unavailable", "title": "Away", "status": 503, "detail": "Try again."}


def stream(text: str) -> httpx.Response:
    return httpx.Response(200, content=text.encode(), headers={"Content-Type": "text/event-stream"})


def followed(
    name: str, *answers: Any, waits: bool, take: int = 99, **more: Any
) -> tuple[list[Any], list[httpx.Request], list[float]]:
    """What following brings, with what was asked and how long was waited."""
    left, requests, pauses, now = list(answers), [], [], [0.0]

    def answer(request: httpx.Request) -> httpx.Response:
        requests.append(request)
        one = left.pop(0) if len(left) > 1 else left[0]
        if isinstance(one, Exception):
            raise one
        return one

    def sleep(seconds: float) -> None:
        pauses.append(seconds)
        now[0] += seconds

    async def slept(seconds: float) -> None:
        sleep(seconds)

    named: dict[str, Any] = {
        "url": URL,
        "key": "k",
        "transport": httpx.MockTransport(answer),
        "clock": lambda: now[0],
        "draw": lambda: 0.0,
    }
    found: list[Any] = []

    async def run() -> None:
        async with AsyncClient(**named, sleep=slept) as client:
            async for one in getattr(client, name)(**more):
                found.append(one)
                if len(found) == take:
                    return

    if waits:
        asyncio.run(run())
    else:
        for one in getattr(Client(**named, sleep=sleep), name)(**more):
            found.append(one)
            if len(found) == take:
                break
    return found, requests, pauses


@BOTH
def test_a_quote_is_followed_to_its_outcome_over_a_connection_that_breaks(waits: bool) -> None:
    first = stream("retry: 100\nevent: checking\nid: 1\ndata: {}\n\nevent: planning_blanks\nid: 2\ndata: {")
    last = stream("event: assembling\nid: 4\ndata: {}\n\nevent: ready\nid: 5\ndata: {}\n\nevent: never\ndata: {}\n\n")
    found, requests, pauses = followed("follow_quote", first, httpx.ConnectError("refused"), last, waits=waits, number="Q-1")
    assert found == ["checking", "assembling", "ready"]
    assert [request.headers.get("Last-Event-ID") for request in requests] == [None, "1", "1"]
    assert pauses == [0.1, 0.25]
    assert {str(request.url) for request in requests} == {f"{URL}/v1/quotes/Q-1/events"}


@BOTH
def test_a_cursor_of_before_a_restore_is_refused_in_the_stream_and_at_its_door(waits: bool) -> None:
    in_stream = stream("event: gone\ndata: " + str(GONE).replace("'", '"') + "\n\n")
    for answer in (in_stream, httpx.Response(410, json=GONE)):
        with pytest.raises(ServerRefused) as refused:
            followed("follow_estimates", answer, waits=waits, after="old")
        assert refused.value.status == 410


@BOTH
def test_a_list_is_gone_through_page_by_page_to_the_page_that_has_no_next(waits: bool) -> None:
    keys = [{"id": name, "role": "erp", "label": "l", "scopes": [], "created_at": "2026-11-02T12:00:00Z"} for name in "abc"]
    pages = [httpx.Response(200, json={"items": keys[:2], "next": "c1"}), httpx.Response(200, json={"items": [], "next": "c2"})]
    found, requests, _ = followed("every_key", *pages, httpx.Response(200, json={"items": keys[2:]}), waits=waits, limit=2)
    assert [one.id for one in found] == ["a", "b", "c"]
    assert [request.url.query for request in requests] == [b"limit=2", b"cursor=c1&limit=2", b"cursor=c2&limit=2"]


@BOTH
def test_a_server_that_is_busy_is_come_back_to_and_one_that_stays_away_is_not(waits: bool) -> None:
    busy = httpx.Response(503, json=AWAY, headers={"Retry-After": "4"})
    found, _, pauses = followed("follow_quote", busy, stream("event: ready\ndata: {}\n\n"), waits=waits, number="Q-1")
    assert (found, pauses) == (["ready"], [4.0])
    with pytest.raises(ServerUnreachable):
        followed("follow_quote", httpx.ConnectError("refused"), waits=waits, number="Q-1")
    with pytest.raises(ServerRefused):
        followed("follow_quote", busy, waits=waits, number="Q-1")


@BOTH
def test_what_is_no_stream_and_a_stream_that_says_nothing_are_not_followed_for_ever(waits: bool) -> None:
    with pytest.raises(AnswerNotUnderstood, match="text/html, not text/event-stream"):
        followed("follow_quote", httpx.Response(200, text="<p>", headers={"Content-Type": "text/html"}), waits=waits, number="Q-1")
    with pytest.raises(ServerUnreachable, match="ends as soon as it begins"):
        followed("follow_quote", stream(""), waits=waits, number="Q-1")


def test_how_long_to_stay_away_is_remembered_over_connections() -> None:
    ended = [stream("retry: 700\nid: 1\nevent: checking\ndata: {}\n\n"), stream("event: assembling\ndata: {}\n\n")]
    _, _, pauses = followed("follow_quote", *ended, stream("event: ready\ndata: {}\n\n"), waits=False, number="Q-1")
    assert pauses == [0.7, 0.7]


def test_an_event_that_is_no_entry_is_not_understood() -> None:
    with pytest.raises(AnswerNotUnderstood):
        followed("follow_estimates", stream("event: ready\ndata: {}\n\n"), waits=False)
