"""Who may come in is known from the head of a request; of a stranger's body nothing is read."""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Annotated, Any

import pytest
from fastapi import Depends, FastAPI, Query, Request
from sqlalchemy.exc import OperationalError
from starlette.responses import Response, StreamingResponse
from starlette.types import Message, Scope

from services.chassis import refusals
from services.chassis.admission import Admission
from services.chassis.bodies import MOST_LARGE, BodyReader
from services.chassis.callers import Failures, KeyRing, networks
from services.chassis.database import Database
from services.chassis.key_limits import KeyLimits
from services.chassis.keys import Caller, Keys, hash_of
from services.chassis.metrics import RequestMeter
from services.chassis.named_requests import NamedRequests
from services.chassis.web import SAFE_HEADERS, needs_role

SALES, ERP = "bw_aa_sales", "bw_bb_erp"


class KeysInMemory(Keys):
    """Keys without a database; counts how often it is asked."""

    def __init__(self) -> None:
        super().__init__(Database("postgresql://127.0.0.1:1/x"))
        self.good = {SALES: Caller("aa", "sales", "desk"), ERP: Caller("bb", "erp", "erp")}
        self.asked: list[str] = []
        self.noted: list[list[str]] = []
        self.is_away = False

    def ring(self) -> dict[bytes, Caller]:
        """Every key."""
        if self.is_away:
            raise OperationalError("select", {}, Exception("away"))
        self.asked.append("all")
        return {hash_of(key): caller for key, caller in self.good.items()}

    def note_uses(self, uses: Mapping[str, datetime]) -> None:
        """Which keys were used since the last time."""
        self.noted.append(sorted(uses))

    def caller(self, key: str) -> Caller | None:
        """One key."""
        self.asked.append(key)
        return self.good.get(key)


@dataclass
class Clock:
    """A clock that a test sets."""

    now: float = 1000.0

    def __call__(self) -> float:
        return self.now


@dataclass
class Exchange:
    """What one request came to, and how much of its body was taken."""

    status: int = 0
    headers: dict[str, str] = field(default_factory=dict)
    body: bytes = b""
    pieces_taken: int = 0

    @property
    def problem(self) -> Any:
        """The problem document of the answer."""
        return json.loads(self.body)


class House:
    """An application behind the door, asked without a server."""

    def __init__(self, *, within_s: float = 5.0, trusted: Iterable[str] = (), requests: int = 100_000) -> None:
        self.keys, self.clock = KeysInMemory(), Clock()
        self.ring_now = datetime.now(UTC)
        self.ring = KeyRing(self.keys, clock=self.clock, now=lambda: self.ring_now)
        self.app = FastAPI(docs_url=None, redirect_slashes=False)

        @self.app.post("/v1/things")
        async def make(request: Request, caller: Annotated[Caller, Depends(needs_role("sales"))]) -> dict[str, Any]:
            return {"by": caller.label, "bytes": len(await request.body())}

        @self.app.get("/v1/things")
        def listed(caller: Annotated[Caller, Depends(needs_role("sales", "erp"))], limit: Annotated[int, Query()] = 5) -> int:
            return limit

        @self.app.get("/v1/things/{name}")
        def one(name: str, caller: Annotated[Caller, Depends(needs_role("sales"))]) -> str:
            return name

        @self.app.post("/v1/things/from-archive")
        def from_archive(caller: Annotated[Caller, Depends(needs_role("sales"))]) -> None: ...

        @self.app.get("/v1/stream")
        async def stream(caller: Annotated[Caller, Depends(needs_role("sales"))]) -> Response:
            async def for_ever() -> Any:
                while True:
                    yield b"again"
                    await asyncio.sleep(0)

            return StreamingResponse(for_ever())

        limits = KeyLimits(most_requests=requests, most_bytes=100_000, client=None, deployment="d", clock=self.clock)
        self.app.add_middleware(BodyReader, within_s=within_s, usual_bytes=1000, limits=limits)
        self.app.add_middleware(
            Admission,
            ring=self.ring,
            failures=Failures(10, clock=self.clock),
            limits=limits,
            trusted=networks(tuple(trusted)),
        )
        self.app.add_middleware(NamedRequests, meter=RequestMeter(), headers=SAFE_HEADERS)

    def ask(self, method: str, path: str, *, key: str | None = SALES, pieces: list[bytes] | None = None, **given: Any) -> Exchange:
        """One request, answered."""
        return asyncio.run(self.asked(method, path, key=key, pieces=pieces, **given))

    async def asked(
        self, method: str, path: str, *, key: str | None = SALES, pieces: list[bytes] | None = None, never_ends: bool = False,
        peer: str = "192.0.2.1", headers: dict[str, str] | None = None, **_: Any,
    ) -> Exchange:  # fmt: skip
        exchange = Exchange()
        left = list(pieces or ())
        sent = {"x-request-id": "r1", **({"authorization": f"Bearer {key}"} if key else {}), **(headers or {})}
        if pieces is not None:
            sent.setdefault("content-length", str(sum(len(piece) for piece in pieces)))
        path, _, query = path.partition("?")

        async def receive() -> Message:
            if not left and (never_ends or pieces is None):
                await asyncio.Event().wait()
            if not left:
                return {"type": "http.disconnect"}
            exchange.pieces_taken += 1
            piece = left.pop(0)
            return {"type": "http.request", "body": piece, "more_body": bool(left) or never_ends}

        async def send(message: Message) -> None:
            if message["type"] == "http.response.start":
                exchange.status = message["status"]
                exchange.headers = {name.decode(): value.decode() for name, value in message["headers"]}
            else:
                exchange.body += message.get("body", b"")

        scope: Scope = {
            "type": "http", "asgi": {"version": "3.0", "spec_version": "2.3"}, "http_version": "1.1", "scheme": "http",
            "method": method, "path": path, "raw_path": path.encode(), "query_string": query.encode(), "root_path": "",
            "headers": [(name.lower().encode(), value.encode()) for name, value in sent.items()],
            "client": (peer, 1), "server": ("here", 80), "state": {},
        }  # fmt: skip
        await self.app(scope, receive, send)
        return exchange


@pytest.fixture(autouse=True)
def _no_lingering(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(refusals, "LINGERS_S", 0.0)


@pytest.mark.parametrize("key", [None, "bw_cc_x", "nonsense", "é"])
def test_of_a_strangers_body_nothing_is_read_and_the_connection_is_closed(key: str | None) -> None:
    answer = House().ask("POST", "/v1/things", key=key, pieces=[b"x" * 50_000] * 320)
    assert answer.status == 401
    assert answer.headers["connection"] == "close"
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.problem["instance"] == "/requests/r1"
    assert answer.pieces_taken == 0


def test_the_role_is_asked_for_before_the_body() -> None:
    answer = House().ask("POST", "/v1/things", key=ERP, pieces=[b"x" * 50_000] * 320)
    assert (answer.status, answer.pieces_taken) == (403, 0)
    assert "sales" in answer.problem["detail"]


@pytest.mark.parametrize("path", ["/v1/nothing", "/nothing"])
def test_where_there_is_nothing_no_body_is_read(path: str) -> None:
    answer = House().ask("POST", path, key=None, pieces=[b"x" * 50_000] * 320)
    assert (answer.status, answer.pieces_taken, answer.headers["connection"]) == (404, 0, "close")


def test_a_short_body_that_nobody_wants_is_thrown_away_so_that_the_connection_ends_well(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(refusals, "LINGERS_S", 1.0)
    answer = House().ask("POST", "/v1/things", key=None, pieces=[b"x" * 500] * 3)
    assert (answer.status, answer.pieces_taken) == (401, 3)


@pytest.mark.parametrize("header", [f"Bearer {SALES}", f"bearer   {SALES}", f"BEARER {SALES}  "])
def test_any_spaces_after_bearer_do(header: str) -> None:
    answer = House().ask("POST", "/v1/things", key=None, headers={"authorization": header}, pieces=[b"{", b"}"])
    assert answer.status == 200
    assert json.loads(answer.body) == {"by": "desk", "bytes": 2}


def test_a_thousand_good_requests_ask_the_database_once() -> None:
    house = House()

    async def many() -> list[int]:
        return [(await house.asked("GET", "/v1/things")).status for _ in range(1000)]

    assert set(asyncio.run(many())) == {200}
    assert house.keys.asked == ["all"]


def test_a_thousand_wrong_keys_ask_the_database_a_few_times_and_wait_ever_longer() -> None:
    house = House()
    answers = [house.ask("GET", "/v1/things", key=f"bw_{number:x}_x") for number in range(1000)]
    assert [answer.status for answer in answers[:11]] == [401] * 11
    assert {answer.status for answer in answers[11:]} == {429}
    assert answers[11].headers["retry-after"] == "2"
    assert len(house.keys.asked) < 25
    waits = []
    for number in range(6):
        house.clock.now += 400
        house.ask("GET", "/v1/things", key=f"bw_{number:x}_y")
        waits.append(int(house.ask("GET", "/v1/things", key="bw_0_z").headers["retry-after"]))
    assert waits == sorted(waits)
    assert waits[-1] > 16 * waits[0] / 2


def test_a_good_key_passes_from_an_address_that_guesses() -> None:
    house = House()
    for number in range(30):
        house.ask("GET", "/v1/things", key=f"bw_{number:x}_x")
    assert house.ask("GET", "/v1/things", key="bw_99_x").status == 429
    assert house.ask("GET", "/v1/things").status == 200


def test_a_key_made_just_now_is_known_and_one_that_was_revoked_stops() -> None:
    house = House()
    house.ask("GET", "/v1/things")
    house.keys.good["bw_dd_new"] = Caller("dd", "sales", "new")
    assert house.ask("GET", "/v1/things", key="bw_dd_new").status == 200
    del house.keys.good[SALES]
    house.clock.now += 6
    assert house.ask("GET", "/v1/things").status == 401


def test_a_key_that_expires_while_it_is_on_the_ring_stops_at_that_moment() -> None:
    house = House()
    ends = datetime.now(UTC) + timedelta(hours=1)
    house.keys.good[SALES] = Caller("aa", "sales", "desk", expires_at=ends)
    house.ring_now = ends - timedelta(seconds=1)
    assert house.ask("GET", "/v1/things").status == 200
    house.ring_now = ends
    del house.keys.good[SALES]  # the database does not have it any more either
    answer = house.ask("GET", "/v1/things")
    assert answer.status == 401
    assert "expired" in answer.problem["detail"]


def test_the_last_use_of_a_key_is_noted_once_a_minute_beside_the_requests() -> None:
    house = House()

    async def many() -> None:
        for second in range(150):
            house.clock.now = 1000.0 + second
            await house.asked("GET", "/v1/things")
            await house.asked("GET", "/v1/things", key=ERP)
            for _ in range(20):
                await asyncio.sleep(0)
            if house.ring.telling is not None:
                await house.ring.telling

    asyncio.run(many())
    assert all(len(keys) == len(set(keys)) for keys in house.keys.noted)
    for key in ("aa", "bb"):
        assert 2 <= sum(key in keys for keys in house.keys.noted) <= 3


def test_a_key_that_only_reads_changes_nothing() -> None:
    house = House()
    house.keys.good[SALES] = Caller("aa", "sales", "desk", scopes=("read_only",))
    assert house.ask("GET", "/v1/things").status == 200
    assert house.ask("HEAD", "/v1/things").status == 200
    answer = house.ask("POST", "/v1/things", pieces=[b"x" * 50_000] * 320)
    assert (answer.status, answer.pieces_taken) == (403, 0)
    assert "read_only" in answer.problem["detail"]


def test_a_client_that_repeats_its_wrong_key_is_no_guesser() -> None:
    house = House()
    assert {house.ask("GET", "/v1/things", key="bw_cc_x").status for _ in range(50)} == {401}


def test_only_a_trusted_front_says_where_a_request_comes_from() -> None:
    house = House(trusted=["10.0.0.0/8"])

    def guess(number: int, *, peer: str, forwarded: str) -> int:
        return house.ask("GET", "/v1/things", key=f"bw_{number:x}_x", peer=peer, headers={"x-forwarded-for": forwarded}).status

    for number in range(30):
        guess(number, peer="10.1.2.3", forwarded="198.51.100.9, 203.0.113.7")
    assert guess(40, peer="10.1.2.3", forwarded="198.51.100.9, 203.0.113.7") == 429
    assert guess(41, peer="10.1.2.3", forwarded="203.0.113.7, 203.0.113.8") == 401
    assert guess(42, peer="203.0.113.7", forwarded="203.0.113.99") == 429, "a stranger's own word counts for nothing"


def test_neighbours_in_one_ipv6_network_are_one_guesser() -> None:
    house = House()
    for number in range(30):
        house.ask("GET", "/v1/things", key=f"bw_{number:x}_x", peer=f"2001:db8::{number:x}")
    assert house.ask("GET", "/v1/things", key="bw_99_x", peer="2001:db8::ffff").status == 429
    assert house.ask("GET", "/v1/things", key="bw_99_x", peer="2001:db8:0:1::1").status == 401


def test_a_database_that_is_away_is_said_so_without_reading_the_body() -> None:
    house = House()
    house.keys.is_away = True
    answer = house.ask("POST", "/v1/things", pieces=[b"x" * 50_000] * 320)
    assert (answer.status, answer.headers["retry-after"], answer.pieces_taken) == (503, "2", 0)


def test_a_body_that_does_not_end_in_time_is_dropped() -> None:
    answer = House(within_s=0.02).ask("POST", "/v1/things", pieces=[b"{"], headers={"content-length": "2"}, never_ends=True)
    assert (answer.status, answer.headers["connection"]) == (408, "close")
    assert "0.02 s" in answer.problem["detail"]


def test_only_so_many_large_bodies_lie_in_memory_at_once_and_small_ones_still_pass() -> None:
    house = House()

    async def crowd() -> list[int]:
        await house.asked("GET", "/v1/things")
        slow = [
            asyncio.create_task(
                house.asked("POST", "/v1/things", pieces=[b"x"], headers={"content-length": "5000"}, never_ends=True)
            )
            for _ in range(MOST_LARGE)
        ]
        await asyncio.sleep(0)
        large = await house.asked("POST", "/v1/things", pieces=[b"x" * 5000])
        small = await house.asked("POST", "/v1/things", pieces=[b"x"])
        for task in slow:
            task.cancel()
        await asyncio.gather(*slow, return_exceptions=True)
        after = await house.asked("POST", "/v1/things", pieces=[b"x" * 5000])
        return [large.status, small.status, after.status]

    assert asyncio.run(crowd()) == [503, 200, 200]


def test_a_method_is_refused_with_those_there_are() -> None:
    house = House()
    for method, status in (("PUT", 405), ("QUERY", 405), ("FOO", 501)):
        answer = house.ask(method, "/v1/things", key=None)
        assert (answer.status, answer.headers["allow"]) == (status, "GET, HEAD, OPTIONS, POST")
        assert answer.headers["content-type"] == "application/problem+json"
    told = house.ask("OPTIONS", "/v1/things", key=None)
    assert (told.status, told.headers["allow"], told.body) == (204, "GET, HEAD, OPTIONS, POST", b"")


def test_an_address_of_its_own_is_no_name_in_the_place_of_another() -> None:
    house = House()
    told = [house.ask(method, "/v1/things/from-archive") for method in ("OPTIONS", "GET", "POST")]
    assert [answer.status for answer in told] == [204, 405, 200]
    assert [answer.headers.get("allow") for answer in told[:2]] == ["OPTIONS, POST"] * 2
    assert house.ask("GET", "/v1/things/from-another").body == b'"from-another"'


def test_head_is_get_without_a_body_even_of_a_stream() -> None:
    house = House()
    head, get = house.ask("HEAD", "/v1/things"), house.ask("GET", "/v1/things")
    assert (head.status, head.body) == (200, b"")
    assert head.headers["content-length"] == get.headers["content-length"] == "1"
    assert house.ask("HEAD", "/v1/things", key=None).status == 401
    stream = house.ask("HEAD", "/v1/stream")
    assert (stream.status, stream.body) == (200, b"")


def test_an_unknown_query_parameter_is_refused_with_those_there_are() -> None:
    answer = House().ask("GET", "/v1/things?limit=3&cusror=x&=1")
    assert answer.status == 422
    assert [error["pointer"] for error in answer.problem["errors"]] == ["/query/cusror", "/query/"]
    assert answer.problem["errors"][0]["limit"] == "limit"
    assert House().ask("GET", "/v1/things?limit=3").status == 200


@pytest.mark.parametrize(("path", "key", "status", "known"), [
    ("/v1/things", "bw_cc_x", 401, None), ("/v1/things?limit=x", SALES, 422, "aa"),
])  # fmt: skip
def test_a_refusal_is_one_line_in_the_log_without_the_key(
    path: str, key: str, status: int, known: str | None, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.INFO, "services.chassis.named_requests"):
        House().ask("GET", path, key=key)
    (line,) = [record for record in caplog.records if record.name == "services.chassis.named_requests"]
    said = {name: getattr(line, name) for name in ("method", "route", "status", "key", "address")}
    assert said == {"method": "GET", "route": "/v1/things", "status": status, "key": known, "address": "192.0.2.1"}
    assert key not in str(vars(line))


def test_every_answer_to_a_key_says_where_it_stands_and_one_too_many_is_told_when_to_come_back() -> None:
    house = House(requests=3)
    remaining = [house.ask("GET", path).headers["ratelimit"].partition(",")[0] for path in ("/v1/things", "/v1/things?x=1")]
    assert remaining == ['"requests";r=2;t=20', '"requests";r=1;t=20']
    assert house.ask("POST", "/v1/things", key=ERP, pieces=[b"{}"]).headers["ratelimit-policy"].startswith('"requests";q=3;w=60')
    house.ask("GET", "/v1/things")
    over = house.ask("POST", "/v1/things", pieces=[b"x" * 70_000])
    assert (over.status, over.headers["retry-after"], over.pieces_taken) == (429, "20", 0)
    assert "ratelimit" not in house.ask("GET", "/v1/things", key=None).headers


def test_a_key_that_sends_too_much_in_a_minute_is_refused_before_it_is_read() -> None:
    house = House()
    assert [house.ask("POST", "/v1/things", pieces=[b"x" * 40_000]).status for _ in range(2)] == [200, 200]
    over = house.ask("POST", "/v1/things", pieces=[b"x" * 70_000])
    assert (over.status, over.pieces_taken) == (429, 0)
