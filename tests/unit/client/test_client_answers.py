"""The API client against a server that answers from a list."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import httpx
import pytest

from services.client import Client
from services.client.errors import AnswerNotUnderstood, ContactLost, ServerRefused, ServerUnreachable, WaitedTooLong
from services.client.waiting import LONGEST_OUTAGE_S
from shared_schemas.check import CheckReport
from shared_schemas.quote import Quote
from shared_schemas.quote_request import QuoteRequest

URL = "http://desk.test"
ACCEPTED = {"number": "BW-7", "status": "accepted", "links": {"self": "/v1/quotes/BW-7"}}
BUSY = {"type": "/problems#unavailable", "title": "A part does not answer", "status": 503, "detail": "Try again."}


class Time:
    """A clock that only moves when somebody sleeps."""

    def __init__(self) -> None:
        self.now = 0.0
        self.pauses: list[float] = []

    def __call__(self) -> float:
        return self.now

    def sleep(self, pause: float) -> None:
        self.pauses.append(pause)
        self.now += pause


def client(fake: Any, time: Time | None = None) -> Client:
    clock = time or Time()
    return Client(url=URL, key="bw_1_x", transport=fake.transport, clock=clock, sleep=clock.sleep)


def as_json(quote: Quote, status: str) -> dict[str, Any]:
    found = quote.model_dump(mode="json")
    if status == "ready":
        return found
    return {name: found[name] for name in ("number", "attempt", "created_at", "rate_revision")} | {"status": status}


def test_a_quote_request_goes_out_whole_with_key_and_idempotency_key(
    server: Callable[..., Any], demo_request: QuoteRequest
) -> None:
    fake = server((202, ACCEPTED))
    with client(fake) as desk:
        accepted = desk.request_quote(demo_request, "once")
    sent = fake.requests[0]
    assert accepted.number == "BW-7"
    assert (sent.method, sent.url.path) == ("POST", "/v1/quotes")
    assert sent.headers["Authorization"] == "Bearer bw_1_x"
    assert sent.headers["Idempotency-Key"] == "once"
    assert QuoteRequest.model_validate_json(sent.content) == demo_request


def test_without_an_idempotency_key_each_call_has_one_of_its_own_for_all_its_tries(
    server: Callable[..., Any], demo_request: QuoteRequest
) -> None:
    fake = server(httpx.ReadTimeout("slow"), (202, ACCEPTED))
    client(fake).request_quote(demo_request)
    client(fake).request_quote(demo_request)
    first, again, other = [request.headers["Idempotency-Key"] for request in fake.requests]
    assert first == again != other


def test_a_check_report_comes_back_as_its_contract(
    server: Callable[..., Any], demo_request: QuoteRequest, report: CheckReport
) -> None:
    fake = server((200, report.model_dump(mode="json")))
    assert client(fake).check(demo_request.prescription) == report
    assert fake.requests[0].url.path == "/v1/prescriptions/check"


def test_waiting_says_each_status_once_and_looks_ever_more_seldom(server: Callable[..., Any], ready_quote: Quote) -> None:
    looks = ["accepted", "checking", "checking", "assembling", "ready"]
    fake, time, seen = server(*((200, as_json(ready_quote, status)) for status in looks)), Time(), []
    found = client(fake, time).wait_for_quote("BW-7", 60, seen.append)
    assert found == ready_quote
    assert seen == ["accepted", "checking", "assembling", "ready"]
    assert time.pauses == sorted(time.pauses)
    assert len(time.pauses) == len(looks) - 1


def test_waiting_ends_in_time_with_the_last_status_seen(server: Callable[..., Any], ready_quote: Quote) -> None:
    time = Time()
    with pytest.raises(WaitedTooLong, match=r"BW-7 is still planning blanks after 30 s.*not lost") as caught:
        client(server((200, as_json(ready_quote, "planning_blanks"))), time).wait_for_quote("BW-7", 30)
    assert caught.value.status == "planning_blanks"
    assert time.now == pytest.approx(30)


def test_a_server_that_restarts_meanwhile_is_borne(server: Callable[..., Any], ready_quote: Quote) -> None:
    fake = server(httpx.ConnectError("refused"), (503, BUSY), (200, as_json(ready_quote, "ready")))
    assert client(fake).wait_for_quote("BW-7", 60).status == "ready"


def test_a_server_that_stays_away_is_not_waited_for(server: Callable[..., Any]) -> None:
    fake, time = server(httpx.ConnectError("connection refused")), Time()
    with pytest.raises(
        ContactLost, match=r"connection refused.*Quote BW-7 was accepted and is not lost: read it when the server is back"
    ):
        client(fake, time).wait_for_quote("BW-7", 600)
    assert LONGEST_OUTAGE_S <= time.now < LONGEST_OUTAGE_S + 2


def test_a_problem_document_becomes_an_error_that_keeps_it(server: Callable[..., Any], demo_request: QuoteRequest) -> None:
    errors = [{"pointer": "/quantities/0", "reason": "it is 0", "figure": 0, "limit": 1, "remedy": "at least 1"}]
    fake = server((422, {"type": "/problems#invalid", "title": "Not so", "status": 422, "detail": "One place.", "errors": errors}))
    with pytest.raises(ServerRefused, match=r"Not so\. One place\.") as caught:
        client(fake).request_quote(demo_request)
    assert caught.value.status == 422
    assert caught.value.errors[0].pointer == "/quantities/0"


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (httpx.ConnectError("connection refused"), "connection refused"),
        (httpx.ReadTimeout("slow"), "did not answer in time"),
        (httpx.RemoteProtocolError("gone"), "gone"),
    ],
)
def test_faults_of_the_network_become_errors_of_the_desk(server: Callable[..., Any], fault: Exception, words: str) -> None:
    with pytest.raises(ServerUnreachable, match=words):
        client(server(fault)).quote("BW-7")


@pytest.mark.parametrize("url", ["", "127.0.0.1:8750", "ftp://desk.test", "http://", "http://[::1"])
def test_an_address_that_is_none_is_said_at_once(url: str) -> None:
    with pytest.raises(ServerUnreachable):
        Client(url=url, key="k")


@pytest.mark.parametrize("body", [b"<html>", b"{}", b'{"number": 1}', b"[]", b""])
@pytest.mark.parametrize("status", [200, 502])
def test_an_answer_that_is_no_answer_is_said_with_its_status(server: Callable[..., Any], body: bytes, status: int) -> None:
    with pytest.raises(AnswerNotUnderstood, match=str(status)):
        client(server((status, body))).quote("BW-7")


def test_a_number_cannot_leave_its_place_in_the_path(server: Callable[..., Any]) -> None:
    fake = server((404, BUSY | {"status": 404}))
    with pytest.raises(ServerRefused):
        client(fake).quote("../rates?x=1")
    assert fake.requests[0].url.raw_path == b"/v1/quotes/..%2Frates%3Fx%3D1"


def test_pages_are_asked_with_the_cursor_of_the_page_before(server: Callable[..., Any]) -> None:
    fake = server((200, {"items": [], "next": "c2"}))
    desk = client(fake)
    assert desk.quotes().next == desk.estimates("c1").next == desk.rate_revisions("c1").next == "c2"
    assert [request.url.query for request in fake.requests] == [b"", b"after=c1", b"cursor=c1"]


def test_a_rate_table_is_changed_with_the_etag_it_was_read_with(server: Callable[..., Any]) -> None:
    page = {"table": "yields", "revision": 3, "rows": [{"name": "a"}]}
    fake = server(httpx.Response(200, json=page, headers={"ETag": '"3"'}), httpx.Response(200, json=page, headers={"ETag": '"4"'}))
    desk = client(fake)
    _, etag = desk.rate_table("yields")
    rows = [{"name": "a", "charge": Decimal("1.50"), "as_of": date(2026, 11, 2)}]
    _, following = desk.put_rate_table("yields", rows, "a trial", etag)
    sent = fake.requests[1]
    assert (etag, following) == ('"3"', '"4"')
    assert sent.headers["If-Match"] == '"3"'
    assert json.loads(sent.content) == {"rows": [{"name": "a", "charge": "1.50", "as_of": "2026-11-02"}], "reason": "a trial"}


OFTEN = {"type": "/problems#too-often", "title": "Too many requests", "status": 429, "detail": "At most 3 a minute."}


def test_a_request_that_came_too_often_is_sent_again_when_the_server_says_so(
    server: Callable[..., Any], demo_request: QuoteRequest
) -> None:
    fake, time = server(httpx.Response(429, json=OFTEN, headers={"Retry-After": "7"}), (429, OFTEN), (202, ACCEPTED)), Time()
    assert client(fake, time).request_quote(demo_request).number == "BW-7"
    assert time.pauses == [7.0, 0.5]


def test_patience_with_a_server_that_says_too_often_ends(server: Callable[..., Any], demo_request: QuoteRequest) -> None:
    fake, time = server(httpx.Response(429, json=OFTEN, headers={"Retry-After": "30"})), Time()
    with pytest.raises(ServerRefused, match="At most 3 a minute") as caught:
        client(fake, time).request_quote(demo_request)
    assert (caught.value.status, time.pauses) == (429, [30.0, 30.0])


def test_a_body_that_was_too_slow_is_an_error_with_its_reason(server: Callable[..., Any], demo_request: QuoteRequest) -> None:
    slow = {
        "type": "/problems#body-too-slow",
        "title": "The body took too long",
        "status": 408,
        "detail": "It was not here within 60 s.",
    }
    with pytest.raises(ServerRefused, match="within 60 s"):
        client(server((408, slow))).request_quote(demo_request)
