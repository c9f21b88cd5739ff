"""The route of the desk: tables in any form of body, answers, the confirmation, and the words of the services behind it."""

from __future__ import annotations

import asyncio
import base64
import json
import logging
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from starlette.types import Receive, Scope, Send

from services.chassis.keys import Caller
from services.chassis.resources import build_resources
from services.chassis.settings import Settings
from services.chassis.web import make_app, tools
from services.desk import api
from services.desk.drafts import asking, reading
from services.prescription.domain.check import check_prescription
from shared_schemas.prescription import Prescription
from shared_schemas.problem import Problem
from shared_schemas.quote import QuoteAccepted
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import RateRevision, Rates

CSV = (
    "surface,radius_mm,thickness_mm,glass,clear_diameter_mm,diameter_mm\n"
    "1,61.47,6.0,N-BK7,23,25.4\n2,-44.64,2.5,SF5,23,25.4\n3,-129.94,95,,23,25.4\n"
)


@dataclass
class Behind:
    """The services that the desk asks, and what came to them."""

    rates: Rates
    asked: list[httpx.Request]
    quoting_says: httpx.Response | None = None
    away: bool = False

    def answer(self, request: httpx.Request) -> httpx.Response:
        self.asked.append(request)
        if self.away:
            raise httpx.ConnectError("nobody")
        if request.url.path == "/v1/prescriptions/check":
            report = check_prescription(Prescription.model_validate_json(request.content), self.rates)
            return httpx.Response(200, content=report.model_dump_json())
        accepted = QuoteAccepted(number="Q-2026-000007", revision=1, status="accepted", links={"self": "/v1/quotes/Q-2026-000007"})
        headers = {"Location": "/v1/quotes/Q-2026-000007", "Retry-After": "1", "Content-Type": "application/json"}
        return self.quoting_says or httpx.Response(202, content=accepted.model_dump_json(), headers=headers)


class Latest:
    """The rates, as their service has them."""

    known: Rates

    def latest(self) -> RateRevision:
        return RateRevision.model_construct(number=1, rates=self.known)


@pytest.fixture
def behind(rates: Rates, monkeypatch: pytest.MonkeyPatch) -> Behind:
    made = Behind(rates, [])
    client = httpx.Client(base_url="http://others", transport=httpx.MockTransport(made.answer))
    monkeypatch.setattr(asking, "client_of", lambda origin, key: client)
    return made


def sent(behind: Behind, body: bytes | dict[str, Any], kind: str = "application/json", **query: str) -> httpx.Response:
    """The answer to a body, past the door: who asks is known, and may."""
    app = application()
    app.dependency_overrides[tools]().rates.known = behind.rates

    async def known(scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            scope["state"] = {"caller": Caller("k1", "sales", "desk"), "id": "r1", "trace": ""}
        await app(scope, receive, send)

    content = body if isinstance(body, bytes) else json.dumps(body).encode()
    headers = {"Content-Type": kind, "Authorization": "Bearer bw_k1_secret", "Idempotency-Key": "monday-1"}

    async def ask() -> httpx.Response:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(known), base_url="http://here") as caller:
            return await caller.post("/v1/intake", content=content, headers=headers, params=query)

    return asyncio.run(ask())


@cache
def application() -> FastAPI:
    """The desk's own process, without what stands before its routes."""
    chosen = Settings(
        database_url="postgresql://127.0.0.1:1/x",
        redis_url="redis://127.0.0.1:1/0",
        rates_url="http://127.0.0.1:1",
        service_key="bw_0_0",
        services=("desk",),
    )
    resources = build_resources(chosen)
    object.__setattr__(resources, "rates", Latest())
    app = make_app(resources)
    app.user_middleware = []
    app.dependency_overrides = {
        tools: lambda: resources,
        api.the_time: lambda: datetime(2026, 11, 2, 12, tzinfo=UTC),
    }
    return app


def test_pasted_text_a_file_and_a_raw_body_make_the_same_draft(behind: Behind) -> None:
    pasted = sent(behind, {"text": CSV, "name": "doublet.csv"})
    filed = sent(behind, {"content_base64": base64.b64encode(CSV.encode()).decode(), "name": "doublet.csv"})
    raw = sent(behind, CSV.encode(), "text/csv; charset=utf-8", name="doublet.csv")
    assert [answer.status_code for answer in (pasted, filed, raw)] == [200, 200, 200], pasted.text
    assert pasted.json() == filed.json() == raw.json()
    assert [one["glass"] for one in pasted.json()["document"]["prescription"]["elements"]] == ["N-BK7", "SF5"]


def test_a_confirmed_draft_is_asked_for_with_the_key_of_the_caller_and_carries_its_assumptions(behind: Behind) -> None:
    draft = sent(behind, {"text": CSV}).json()
    answers = {question["name"]: question["choices"][0]["answer"] for question in draft["questions"]}
    draft = sent(behind, {"text": CSV, "answers": answers}).json()
    assert draft["questions"] == []
    made = sent(behind, {"text": CSV, "answers": answers, "confirm": draft["digest"]})
    assert (made.status_code, made.headers["Location"]) == (202, "/v1/quotes/Q-2026-000007")
    assert QuoteAccepted.model_validate_json(made.content).number == "Q-2026-000007"
    asked = behind.asked[-1]
    assert asked.url.path == "/v1/quotes"
    assert (asked.headers["Authorization"], asked.headers["Idempotency-Key"]) == ("Bearer bw_k1_secret", "monday-1")
    request = QuoteRequest.model_validate_json(asked.content)
    assert any(told.startswith("quantities 5, 25, 100") for told in request.assumptions)


def test_a_digest_of_another_draft_is_a_conflict_that_says_what_differs(behind: Behind) -> None:
    draft = sent(behind, {"text": CSV}).json()
    answers = {question["name"]: question["choices"][0]["answer"] for question in draft["questions"]}
    digest = sent(behind, {"text": CSV, "answers": answers}).json()["digest"]
    other = CSV.replace("6.0", "6.5")
    refused = sent(behind, {"text": other, "answers": answers, "confirm": digest})
    assert refused.status_code == 409, refused.text
    assert "/content" in [error.pointer for error in Problem.model_validate_json(refused.content).errors]
    assert all(request.url.path != "/v1/quotes" for request in behind.asked)


def test_a_draft_with_open_questions_is_not_confirmed(behind: Behind) -> None:
    wrong = CSV.replace("SF5", "SF5555")
    draft = sent(behind, {"text": wrong}).json()
    refused = sent(behind, {"text": wrong, "confirm": draft["digest"]})
    assert refused.status_code == 409
    (error,) = Problem.model_validate_json(refused.content).errors
    assert error.pointer == f"/answers/{draft['questions'][0]['name']}"


def test_what_quoting_refuses_comes_back_in_its_own_words(behind: Behind) -> None:
    body = b'{"type":"/problems#queue-full","title":"The queue is full","status":503,"detail":"Later."}'
    behind.quoting_says = httpx.Response(
        503, content=body, headers={"Content-Type": "application/problem+json", "Retry-After": "9"}
    )
    draft = sent(behind, {"text": CSV}).json()
    answers = {question["name"]: question["choices"][0]["answer"] for question in draft["questions"]}
    digest = sent(behind, {"text": CSV, "answers": answers}).json()["digest"]
    refused = sent(behind, {"text": CSV, "answers": answers, "confirm": digest})
    assert (refused.status_code, refused.content, refused.headers["Retry-After"]) == (503, body, "9")


def test_a_check_that_is_away_is_told_and_nothing_is_guessed_without_it(behind: Behind) -> None:
    behind.away = True
    refused = sent(behind, {"text": CSV})
    assert (refused.status_code, refused.headers["Retry-After"]) == (503, "2")
    assert "prescription service" in refused.json()["detail"]


@pytest.mark.parametrize(
    ("body", "kind", "status", "words"),
    [
        (b"<xml/>", "application/xml", 415, "application/json"),
        (b"x" * (4 * 2**20 + 1), "text/plain", 413, "4194304"),
        (b"{}", "application/json", 422, "text or content_base64"),
        (b'{"text": "a", "content_base64": "YQ=="}', "application/json", 422, "text or content_base64"),
        (b'{"content_base64": "%%%"}', "application/json", 422, "not base64"),
        (b'{"text": "   "}', "application/json", 422, "empty"),
        (b'{"text": "a", "colour": 1}', "application/json", 422, "colour"),
        (b"", "text/csv", 422, "empty"),
    ],
)
def test_what_is_no_table_is_named(behind: Behind, body: bytes, kind: str, status: int, words: str) -> None:
    refused = sent(behind, body, kind)
    assert refused.status_code == status, refused.text
    assert words in refused.text


def test_an_answer_of_a_raw_body_that_names_nothing_is_refused(behind: Behind) -> None:
    refused = sent(behind, CSV.encode(), "text/csv", answer="unit")
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["pointer"] == "/query/answer"


def test_a_reader_that_breaks_tells_nothing_of_what_was_sent(
    behind: Behind, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def breaks(*given: object, **named: object) -> None:
        raise KeyError("SECRET-LENS-FJORD")

    monkeypatch.setattr(reading, READER, breaks)
    with caplog.at_level(logging.DEBUG):
        refused = sent(behind, {"text": CSV + "SECRET-LENS-FJORD"})
    assert refused.status_code == 500
    assert "FJORD" not in refused.text
    assert "KeyError" in str([record.__dict__ for record in caplog.records])
    assert "FJORD" not in str([{**record.__dict__, "msg": record.getMessage()} for record in caplog.records])


READER = "read_intake"
