"""A body is weighed before it is read, says each thing once, and reads as it is written."""

from __future__ import annotations

import asyncio
import json
import threading
from random import Random
from typing import Any

import httpx
import pytest
from fastapi import APIRouter, FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, model_validator

from services.chassis.json_bodies import BYTES_PER_VALUE, LONG_BYTES, MOST_DEPTH, CheckedRoute, document_of, refuse_turned_text
from services.chassis.refusals import Refused

SIGNS = 'ab"\\{}[],:é€漢😀 \n'


def drawn(dice: Random, levels: int = 4) -> Any:
    """A document of any shape, with texts full of signs that mean something in JSON."""
    text = "".join(dice.choices(SIGNS, k=dice.randrange(12)))
    kind = dice.randrange(6 if levels else 4)
    if kind == 4:
        return [drawn(dice, levels - 1) for _ in range(dice.randrange(5))]
    if kind == 5:
        return {f"{text}{number}": drawn(dice, levels - 1) for number in range(dice.randrange(5))}
    return (None, True, dice.randrange(-(2**53), 2**53), text)[kind]


def refusal_of(body: bytes | str) -> Refused:
    with pytest.raises(Refused) as caught:
        document_of(body.encode() if isinstance(body, str) else body)
    return caught.value


@pytest.mark.parametrize("ascii_only", [True, False])
def test_what_is_within_the_budget_is_read_as_it_is(ascii_only: bool) -> None:
    dice = Random(1)
    for document in (drawn(dice) for _ in range(1000)):
        assert document_of(json.dumps(document, ensure_ascii=ascii_only).encode()) == document


@pytest.mark.parametrize("opening", ["[", '{"a":'])
@pytest.mark.parametrize("levels", [MOST_DEPTH + 1, 5000, 1_000_000])
def test_a_bomb_of_levels_is_refused_before_it_is_read(opening: str, levels: int) -> None:
    refusal = refusal_of(opening * levels)
    assert refusal.slug == "body-too-complex"
    assert str(MOST_DEPTH) in str(refusal) or "values" in str(refusal)


def test_the_deepest_that_may_be_is_read() -> None:
    assert document_of(b"[" * MOST_DEPTH + b"]" * MOST_DEPTH)
    assert refusal_of(b"[" * (MOST_DEPTH + 1) + b"]" * (MOST_DEPTH + 1)).slug == "body-too-complex"


@pytest.mark.parametrize("bomb", ["[" + "0," * 200_000 + "0]", "[" + "{}," * 200_000 + "{}]", "[" + "[]," * 200_000 + "[]]", "[" + '"",' * 200_000 + "0]"])  # fmt: skip
def test_a_bomb_of_small_values_is_refused(bomb: str) -> None:
    assert "values" in str(refusal_of(bomb))
    assert len(bomb) // 200_000 <= BYTES_PER_VALUE


def test_brackets_and_commas_within_texts_are_no_structure() -> None:
    text = '[{,"\\' * 30_000
    assert document_of(json.dumps({"a": text}).encode()) == {"a": text}


@pytest.mark.parametrize("body", [b"", b"{", b"nul", b"[1 2]", b'{"a" 1}', b"\xff\xfe[\x00]\x00", b'"\xe9"', b"9" * 5000])
def test_what_is_no_json_is_refused_as_such(body: bytes) -> None:
    assert refusal_of(body).slug == "not-json"


def test_a_name_that_stands_twice_is_named_with_its_place() -> None:
    refusal = refusal_of('{"a": [{"b": 1, "c": 2, "b": 3, "b": 4}], "d/e": {"f": 1, "f": 1}}')
    assert refusal.slug == "invalid"
    assert sorted(str(error.pointer) for error in refusal.errors) == ["/a/0/b", "/d~1e/f"]


@pytest.mark.parametrize("sign", ["\u200e", "\u200f", "\u202a", "\u202e", "\u2066", "\u2069"])
@pytest.mark.parametrize("ascii_only", [True, False])
def test_signs_that_turn_text_are_refused_and_named(sign: str, ascii_only: bool) -> None:
    body = json.dumps({"customer": ["ok", f"ab{sign}c"]}, ensure_ascii=ascii_only)
    (error,) = refusal_of(body).errors
    assert (error.pointer, error.figure) == ("/customer/1", f"U+{ord(sign):04X}")
    assert refusal_of(json.dumps({f"a{sign}": 1}, ensure_ascii=ascii_only)).slug == "invalid"


def test_other_signs_of_their_neighbourhood_are_taken() -> None:
    text = "10–20 µm … ‘quoted’ \u2028 ⁄ ₂"
    assert document_of(json.dumps([text], ensure_ascii=False).encode()) == [text]
    refuse_turned_text(text, "/rows")
    with pytest.raises(Refused, match=r"line 2 has the character U\+202E"):
        refuse_turned_text("a\nb\u202e", "/rows")


class Place(BaseModel):
    """A part of a contract that notes the thread in which it was held against a body."""

    thread: int = 0

    @model_validator(mode="after")
    def _noted(self) -> Place:
        self.thread = threading.get_ident()
        return self


class Parts(BaseModel):
    """A contract."""

    parts: list[str]
    place: Place | None = None


def post(body: bytes, kind: str = "application/json") -> tuple[httpx.Response, list[Parts]]:
    seen: list[Parts] = []
    router = APIRouter(route_class=CheckedRoute)

    @router.post("/parts")
    async def take(asked: Parts) -> int:
        seen.append(asked)
        return len(asked.parts)

    app = FastAPI()
    app.include_router(router)
    app.add_exception_handler(RequestValidationError, lambda _, fault: Response(str(fault.errors()[0]["loc"]), 422))  # type: ignore[attr-defined]

    async def asked() -> httpx.Response:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://here") as client:
            return await client.post("/parts", content=body, headers={"Content-Type": kind})

    return asyncio.run(asked()), seen


def test_a_long_body_is_held_against_its_contract_beside_the_loop_and_once() -> None:
    long = json.dumps({"parts": ["x" * 90] * (LONG_BYTES // 80), "place": {}}).encode()
    answer, (parts,) = post(long)
    assert answer.json() == LONG_BYTES // 80
    assert parts.place is not None
    assert parts.place.thread != threading.get_ident()
    answer, (parts,) = post(b'{"parts": ["a"], "place": {}}')
    assert parts.place is not None
    assert (answer.json(), parts.place.thread) == (1, threading.get_ident())


def test_what_is_wrong_in_a_long_body_is_named_as_in_a_short_one() -> None:
    long = json.dumps({"parts": [*["x" * 90] * (LONG_BYTES // 80), 7]}).encode()
    assert post(long)[0].text == str(("body", "parts", LONG_BYTES // 80))
    assert post(b'{"parts": [7]}')[0].text == str(("body", "parts", 0))


def test_a_body_of_another_kind_is_left_to_the_framework() -> None:
    answer, seen = post(b'{"parts": []}', "text/plain")
    assert (answer.status_code, seen) == (422, [])


def test_every_route_of_the_services_reads_its_bodies_so() -> None:
    from importlib import import_module  # noqa: PLC0415

    from fastapi.routing import APIRoute, iter_route_contexts  # noqa: PLC0415

    from tests.architecture.test_architecture_route_roles import PAGES  # noqa: PLC0415

    found = []
    for name in ("prescription", "glass", "process", "quoting", "orders", "rates", "desk"):
        for context in iter_route_contexts(import_module(f"services.{name}.api").router.routes):
            assert isinstance(context.original_route, APIRoute)
            if context.path in PAGES:
                continue  # forms of browsers, which pages read within bounds of their own
            found += [] if isinstance(context.original_route, CheckedRoute) else [context.path]
    assert found == []


def test_a_request_that_is_read_ahead_keeps_its_bytes() -> None:
    router = APIRouter(route_class=CheckedRoute)

    @router.post("/parts")
    async def take(asked: Parts, http: Request) -> str:
        return (await http.body()).decode()

    app = FastAPI()
    app.include_router(router)

    async def asked() -> httpx.Response:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://here") as client:
            return await client.post("/parts", json={"parts": ["a"]})

    assert asyncio.run(asked()).json() == '{"parts":["a"]}'
