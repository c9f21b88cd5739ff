"""What a call says of itself before anybody sends it, and what the HTTP library is told."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

import httpx
import pytest

from services.client import Client, events
from services.client.call import Call, Means, Pause, call, sent_query
from services.client.calls import offers, quoting, waits
from services.client.errors import ServerRefused
from services.client.events import EventReader, EventTooLong
from services.client.patience import Patience
from shared_schemas.quote import QuoteAccepted

URL = "http://shop.test"
AWAY = {"type": "/problems#unavailable", "title": "Away", "status": 503, "detail": "Try again."}


def post(**more: Any) -> Call[QuoteAccepted]:
    return call(QuoteAccepted, "POST", "/v1/quotes", **more)


def test_two_requests_are_the_same_only_when_all_that_is_sent_is() -> None:
    same = post(body={"a": 1, "b": 2}, query={"x": 1})
    assert same.named() == post(body={"b": 2, "a": 1}, query={"x": 1, "y": None}).named()
    others = [
        post(body={"a": 1, "b": 3}, query={"x": 1}), post(body={"a": 1, "b": 2}), post(content=b"a"), post(content=b"b"),
        call(QuoteAccepted, "PATCH", "/v1/quotes", body={"a": 1, "b": 2}, query={"x": 1}),
    ]  # fmt: skip
    assert len({one.named() for one in (same, *others)}) == len(others) + 1


def test_a_query_is_written_as_servers_read_it() -> None:
    query = {
        "flag": True,
        "other": False,
        "day": date(2026, 1, 2),
        "price": Decimal("1.50"),
        "many": ["a", "b"],
        "none": None,
        "count": 3,
    }
    written = {"flag": "true", "other": "false", "day": "2026-01-02", "price": "1.50", "many": ["a", "b"], "count": "3"}
    assert sent_query(query) == written


@pytest.mark.parametrize(
    ("number", "place"),
    [("Q-1", "quotes"), ("B-1", "quote-batches"), ("I-1", "rates/impact"), ("W-1", "what-ifs")],
)
def test_what_is_cancelled_goes_by_the_letter_of_its_number(number: str, place: str) -> None:
    assert quoting.cancel(number).path == f"/v1/{place}/{number}"


def test_the_first_letterhead_is_put_without_an_etag() -> None:
    assert "If-Match" not in offers.put_letterhead({"name": "n"}, None).headers
    assert offers.put_letterhead({"name": "n"}, "t").headers["If-Match"] == "t"


def problem(status: int) -> httpx.Response:
    return httpx.Response(status, json={**AWAY, "status": status}, request=httpx.Request("GET", URL))


def test_a_wait_looks_again_after_a_server_that_is_away_and_ends_with_a_refusal() -> None:
    steps = waits.wait_for_quote("Q-1").steps(Means(patience=Patience(), clock=lambda: 0.0, draw=lambda: 0.0))
    assert isinstance(next(steps), Call)
    assert steps.send(problem(503)) == Pause(0.03), "its own pause, and none of a call's"
    assert isinstance(steps.send(None), Call)
    with pytest.raises(ServerRefused):
        steps.send(problem(404))


@pytest.mark.parametrize(("url", "trusted"), [("http://127.0.0.1:1", False), ("http://localhost:1", False), (URL, True)])
def test_a_proxy_of_the_environment_is_not_asked_for_what_is_on_this_machine(
    url: str, trusted: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: dict[str, Any] = {}
    monkeypatch.setattr(httpx, "Client", lambda **named: told.update(named))
    Client(url=url, key="k")
    assert told["trust_env"] is trusted


def test_who_lets_a_server_wait_waits_longer_for_its_answer_and_for_a_stream_no_longer_than_it_may_be_silent() -> None:
    timeouts: list[dict[str, float]] = []

    def answer(request: httpx.Request) -> httpx.Response:
        timeouts.append(request.extensions["timeout"])
        if request.url.path.endswith("/events"):
            return httpx.Response(200, text="event: ready\ndata: {}\n\n", headers={"Content-Type": "text/event-stream"})
        return httpx.Response(200, json={"items": []})

    with Client(url=URL, key="k", timeout_s=10, transport=httpx.MockTransport(answer)) as client:
        client.estimates()
        client.estimates(wait_s=20)
        list(client.follow_quote("Q-1"))
    assert [one["read"] for one in timeouts] == [10, 30, 60]
    assert {one["connect"] for one in timeouts} <= {5.0, 10.0}


def test_an_event_without_end_is_not_read_for_ever(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(events, "MOST_CHARACTERS", 100)
    reader = EventReader()
    for _ in range(50):
        assert len(list(reader.read(b"data: 0123456789\n\n"))) == 1
    with pytest.raises(EventTooLong):
        list(reader.read(b"data: 0123456789\n" * 50))
