"""What is refused before anything is parsed, and what every answer says to a browser."""

from __future__ import annotations

import asyncio
import pickle
from collections.abc import Callable

import httpx
import pytest
from fastapi import FastAPI, Request, Response
from kombu.exceptions import ContentDisallowed
from kombu.serialization import loads, prepare_accept_content

from services.chassis.limits import MOST_HEAD_BYTES, RequestLimits
from services.chassis.problems import MEDIA_TYPE
from services.chassis.queue import queue_app
from services.chassis.settings import Settings
from services.chassis.web import SAFE_HEADERS, send_problem
from shared_schemas.pipeline import TASKS
from shared_schemas.problem import Problem

Ask = Callable[..., httpx.Response]


@pytest.fixture
def ask() -> Ask:
    app = FastAPI(docs_url=None)

    @app.post("/echo")
    async def echo(request: Request) -> Response:
        return Response(await request.body())

    app.add_middleware(RequestLimits, most_bytes=2048)

    async def answer(method: str, path: str, **given: object) -> httpx.Response:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://here") as client:
            return await client.request(method, path, **given)  # type: ignore[arg-type]

    return lambda method, path, **given: asyncio.run(answer(method, path, **given))


def test_a_head_that_is_too_large_is_refused_wherever_its_bytes_are(ask: Ask) -> None:
    much = "a" * MOST_HEAD_BYTES
    for answer in (ask("POST", "/echo", headers={"X-Much": much}), ask("POST", f"/echo?{much}"), ask("POST", f"/{much}")):
        assert answer.status_code == 431
        assert answer.headers["content-type"] == MEDIA_TYPE
        assert str(MOST_HEAD_BYTES) in answer.json()["detail"]


def test_a_head_and_a_body_within_the_limits_pass(ask: Ask) -> None:
    assert ask("POST", "/echo", content=b"x" * 2048, headers={"X-Some": "a" * 8000}).content == b"x" * 2048
    assert ask("POST", "/echo", content=b"x" * 2049).status_code == 413


def test_a_pickle_on_the_queue_is_not_opened() -> None:
    accepted = prepare_accept_content(queue_app(settings_without_servers(), TASKS).conf.accept_content)
    body = pickle.dumps(["Q-2026-000001", 1, "t"])
    with pytest.raises(ContentDisallowed):
        loads(body, "application/x-python-serialize", "binary", accept=accepted)


def settings_without_servers() -> Settings:
    return Settings(
        database_url="postgresql://127.0.0.1:1/x",
        redis_url="redis://127.0.0.1:1/0",
        rates_url="http://127.0.0.1:1",
        service_key="bw_0_0",
    )


def test_every_problem_carries_the_headers_even_one_that_no_middleware_sees() -> None:
    answer = send_problem(Problem(type="/problems#internal", title="t", status=500, detail="d"), {"Retry-After": "2"})
    assert {name: answer.headers[name] for name in SAFE_HEADERS} == SAFE_HEADERS
    assert answer.headers["Retry-After"] == "2"
