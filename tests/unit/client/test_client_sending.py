"""What a client sends again, after which waits, under which key: both clients against a server that answers from a list."""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import httpx
import pytest

import services.client
from services.client import AsyncClient, Client, Patience
from services.client.call import Call, call
from services.client.errors import AnswerNotUnderstood, HeaderUnusable, JournalUnusable, ServerRefused, ServerUnreachable
from services.client.journal import Journal
from services.client.patience import retry_after_s
from shared_schemas.quote import QuoteAccepted

ACCEPTED = {"number": "Q-1", "status": "accepted", "links": {}}
PROBLEM = {
    "type": "/problems#unavailable",
    "title": "Away",
    "status": 503,
    "detail": "Try again.",
    "errors": [{"pointer": "/a", "reason": "r"}],
}
URL = "http://shop.test"


class Server:
    """Answers from a list, the last for ever; notes requests and pauses."""

    def __init__(self, *answers: Any) -> None:
        self.answers = list(answers)
        self.requests: list[httpx.Request] = []
        self.pauses: list[float] = []

    def __call__(self, request: httpx.Request) -> httpx.Response:
        self.requests.append(request)
        answer = self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]
        if isinstance(answer, BaseException):
            raise answer
        status, document, *headers = answer
        return httpx.Response(status, json=document, headers=headers[0] if headers else {})

    async def slept(self, seconds: float) -> None:
        self.pauses.append(seconds)


def asked(server: Server, what: Call[Any], *, waits: bool, **more: Any) -> Any:
    """The answer that one of the two clients gets."""
    if not waits:
        with Client(
            url=URL, key="k", transport=httpx.MockTransport(server), sleep=server.pauses.append, draw=lambda: 0.0, **more
        ) as client:
            return client.send(what)

    async def run() -> Any:
        async with AsyncClient(
            url=URL, key="k", transport=httpx.MockTransport(server), sleep=server.slept, draw=lambda: 0.0, **more
        ) as client:
            return await client.send(what)

    return asyncio.run(run())


def post(**more: Any) -> Call[QuoteAccepted]:
    return call(QuoteAccepted, "POST", "/v1/quotes", body={"a": 1}, **more)


GET = call(QuoteAccepted, "GET", "/v1/quotes/Q-1")
BOTH = pytest.mark.parametrize("waits", [False, True], ids=["blocking", "asynchronous"])
SLOW, AWAY = httpx.ReadTimeout("slow"), httpx.ConnectError("refused")
BUSY = (503, PROBLEM)


@BOTH
@pytest.mark.parametrize("fault", [SLOW, AWAY, BUSY, (502, PROBLEM)])
def test_what_may_be_repeated_is_sent_again_after_waits_that_double(fault: Any, waits: bool) -> None:
    server = Server(fault, fault, fault, (200, ACCEPTED))
    assert asked(server, GET, waits=waits).number == "Q-1"
    assert server.pauses == [0.25, 0.5, 1.0]


@BOTH
def test_patience_ends_with_the_fourth_try_and_with_what_was_wrong(waits: bool) -> None:
    server = Server(BUSY)
    with pytest.raises(ServerRefused, match="Try again") as refused:
        asked(server, GET, waits=waits)
    assert (len(server.requests), refused.value.status, refused.value.pointers) == (4, 503, ("/a",))


@pytest.mark.parametrize(
    ("what", "fault", "sent"),
    [
        (post(), SLOW, 1), (post(), BUSY, 1), (post(), AWAY, 4), (post(key="once"), SLOW, 4), (post(key="once"), BUSY, 4),
        (post(repeatable=True), SLOW, 4),
        (call(QuoteAccepted, "PUT", "/x", headers={"If-Match": "t"}), SLOW, 1), (call(QuoteAccepted, "PUT", "/x"), SLOW, 4),
    ],
)  # fmt: skip
def test_only_what_does_the_same_twice_is_sent_twice(what: Call[Any], fault: Any, sent: int) -> None:
    server = Server(fault)
    with pytest.raises((ServerUnreachable, ServerRefused)):
        asked(server, what, waits=False)
    assert len(server.requests) == sent


def test_retry_after_is_kept_to_in_seconds_or_as_a_date_and_not_beyond_patience() -> None:
    dated = {"Date": "Wed, 02 Dec 2026 08:00:00 GMT", "Retry-After": "Wed, 02 Dec 2026 08:00:09 GMT"}
    server = Server(
        (503, PROBLEM, {"Retry-After": "7"}), (503, PROBLEM, dated), (429, PROBLEM, {"Retry-After": "3"}), (200, ACCEPTED)
    )
    asked(server, GET, waits=False)
    assert server.pauses == [7.0, 9.0, 3.0]
    server = Server((429, PROBLEM, {"Retry-After": "40"}))
    with pytest.raises(ServerRefused):
        asked(server, GET, waits=False)
    assert server.pauses == [40.0]


@pytest.mark.parametrize("told", ["", "soon", "-3", "٣", "Wed, 02 Dec 2026 08:00:09 GMT"])
def test_a_retry_after_that_says_nothing_usable_is_none(told: str) -> None:
    assert retry_after_s(httpx.Response(503, headers={"Retry-After": told.encode()})) is None


def test_waits_are_scattered_within_their_half_and_have_a_longest() -> None:
    patience = Patience(first_wait_s=1, longest_wait_s=3)
    assert [patience.wait_s(n, lambda: 0.0) for n in (1, 2, 3, 9)] == [1, 2, 3, 3]
    assert patience.wait_s(2, lambda: 1.0) == 1.0


@BOTH
def test_a_key_goes_with_all_tries_and_another_with_the_next_call(waits: bool) -> None:
    server = Server(SLOW, (200, ACCEPTED))
    asked(server, post(keyed=True), waits=waits)
    asked(server, post(keyed=True), waits=waits)
    first, again, other = (request.headers["Idempotency-Key"] for request in server.requests)
    assert first == again != other


@BOTH
def test_a_program_that_was_ended_sends_the_same_request_under_the_same_key(waits: bool, tmp_path: Path) -> None:
    journal, server = tmp_path / "sent", Server(KeyboardInterrupt(), (200, ACCEPTED))
    with pytest.raises(KeyboardInterrupt):
        asked(server, post(keyed=True), waits=waits, journal=journal)
    asked(server, post(keyed=True), waits=waits, journal=journal)
    asked(server, call(QuoteAccepted, "POST", "/v1/quotes", body={"a": 2}, keyed=True), waits=waits, journal=journal)
    ended, again, other = (request.headers["Idempotency-Key"] for request in server.requests)
    assert ended == again != other
    with Client(url="http://other.test", key="k", transport=httpx.MockTransport(server), journal=journal) as elsewhere:
        elsewhere.send(post(keyed=True))
    assert server.requests[-1].headers["Idempotency-Key"] not in (ended, other), "another server is another matter"


def test_a_journal_forgets_after_a_day_and_is_nobody_elses_to_read(tmp_path: Path) -> None:
    now = [0.0]
    journal = Journal(tmp_path / "sent", now=lambda: now[0])
    keys = iter("abcd")
    assert [journal.key_for("r", lambda: next(keys)), journal.key_for("r", lambda: next(keys))] == ["a", "a"]
    now[0] = 24 * 3600 + 1
    assert journal.key_for("r", lambda: next(keys)) == "c"
    assert (tmp_path / "sent").stat().st_mode & 0o077 == 0


def test_a_journal_that_cannot_be_used_is_said_and_nothing_is_sent(tmp_path: Path) -> None:
    (tmp_path / "sent").write_bytes(b"no journal at all, but a file of somebody's" * 50)
    server = Server((200, ACCEPTED))
    for path in (tmp_path / "sent", tmp_path / "nowhere" / "sent"):
        with pytest.raises(JournalUnusable, match="Nothing was sent"):
            asked(server, post(keyed=True), waits=False, journal=path)
    assert server.requests == []


@pytest.mark.parametrize("key", ["schlüssel", "a\nb", "a\x7f"])
def test_a_key_that_http_has_no_place_for_is_said_without_telling_it(key: str) -> None:
    with pytest.raises(HeaderUnusable) as said:
        Client(url=URL, key=key)
    assert key not in str(said.value)
    server = Server((200, ACCEPTED))
    with pytest.raises(HeaderUnusable, match="Idempotency-Key"):
        asked(server, post(key=key), waits=False)
    assert server.requests == []


def test_a_key_out_of_a_file_has_its_line_end_taken_off() -> None:
    server = Server((200, ACCEPTED))
    Client(url=URL, key="bw_1_x\n", transport=httpx.MockTransport(server)).send(GET)
    assert server.requests[0].headers["Authorization"] == "Bearer bw_1_x"


def test_without_a_key_the_server_is_asked_and_says_what_it_wants() -> None:
    server = Server((401, PROBLEM | {"status": 401, "detail": "A key is missing."}))
    with pytest.raises(ServerRefused, match="A key is missing"):
        Client(url=URL, key="", transport=httpx.MockTransport(server)).send(GET)
    assert "Authorization" not in server.requests[0].headers


def test_threads_that_ask_the_same_at_once_have_one_key(tmp_path: Path) -> None:
    numbers = iter(range(100))
    with ThreadPoolExecutor(6) as threads:
        keys = list(threads.map(lambda _: Journal(tmp_path / "sent").key_for("r", lambda: str(next(numbers))), range(24)))
    assert len(set(keys)) == 1


def test_what_a_later_server_says_besides_is_passed_over() -> None:
    server = Server((200, ACCEPTED | {"links": {}, "mood": "good"}))
    assert asked(server, GET, waits=False).number == "Q-1"


@pytest.mark.parametrize(
    "answer",
    [
        httpx.Response(200, content=b"\xff", headers={"Content-Type": "text/csv"}),
        httpx.Response(200, content=b"a,b", headers={"Content-Type": "text/html"}),
        httpx.Response(302, headers={"Location": "http://elsewhere.test"}),
    ],
    ids=["not UTF-8", "a page", "a redirect"],
)
def test_a_text_that_is_none_is_not_understood(answer: httpx.Response) -> None:
    with pytest.raises(AnswerNotUnderstood), Client(url=URL, key="k", transport=httpx.MockTransport(lambda _: answer)) as client:
        client.estimate_csv("E-1")


def test_what_is_no_gzip_is_no_answer_and_no_error_of_httpx() -> None:
    broken = httpx.MockTransport(
        lambda _: httpx.Response(200, stream=httpx.ByteStream(b"no"), headers={"Content-Encoding": "gzip"})
    )
    with pytest.raises(ServerUnreachable), Client(url=URL, key="k", transport=broken, sleep=lambda _: None) as client:
        client.send(GET)


def test_the_public_names_are_these_and_no_others() -> None:
    assert services.client.__all__ == ["AsyncClient", "Client", "ClientError", "Patience"]
    assert all(getattr(services.client, name) for name in services.client.__all__)
    with pytest.raises(AttributeError):
        services.client.Clients  # type: ignore[attr-defined]  # noqa: B018
