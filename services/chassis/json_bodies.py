"""A JSON body becomes a document within a budget: its depth and its values are counted in the bytes, before anything is built from them.

A long one is read and held against its contract in a thread, so that the process answers others meanwhile.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Coroutine, Iterator
from itertools import accumulate
from typing import Any

from anyio import CapacityLimiter, to_thread
from fastapi import Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.routing import APIRoute

from services.chassis.compute_slots import ComputeSlots
from services.chassis.negotiation import media_type_of
from services.chassis.problems import clean
from services.chassis.refusals import Refused
from shared_schemas.problem import ProblemDetail

MOST_DEPTH = 64
"""Objects and arrays within each other; the deepest of our own documents has less than half of it."""
BYTES_PER_VALUE = 8
FEWEST_VALUES = 20_000
"""A body of 16 MiB may hold two million values: one to so many bytes, and in a short body so many. A request of ours has one to 18 bytes."""
LONG_BYTES = 128 * 1024
MOST_NAMED = 20
SLICE_BYTES = 64 * 1024

_long_bodies = CapacityLimiter(1)
_STEPS = {ord("["): 1, ord("{"): 1, ord("]"): -1, ord("}"): -1}
_NOT_BRACKETS = bytes(set(range(256)) - set(_STEPS))
_TURNS = re.compile("[\u200e\u200f\u202a-\u202e\u2066-\u2069]")
"""Signs that turn the direction of the text after them, so that it reads otherwise than it is (Unicode Standard Annex 9)."""


def document_of(body: bytes) -> Any:
    """The document in `body`; raises `Refused` for what is no JSON in UTF-8, holds too much, or says two things at once."""
    _weigh(body)
    repeated: list[_Repeated] = []

    def gathered(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        made = dict(pairs)
        if len(made) == len(pairs):
            return made
        repeated.append(_Repeated(made, pairs))
        return repeated[-1]

    try:
        document = json.loads(body.decode("utf-8-sig"), object_pairs_hook=gathered)
    except UnicodeDecodeError as fault:
        raise Refused("not-json", f"The body is not JSON: it is not UTF-8 at byte {fault.start}.") from fault
    except json.JSONDecodeError as fault:
        raise Refused("not-json", f"The body is not JSON: {fault.msg} at character {fault.pos}.") from fault
    except (ValueError, RecursionError) as fault:
        raise Refused("not-json", f"The body is not JSON: {str(fault)[:100]}.") from fault
    if repeated:
        _refuse([*_repeated_names(document, "")], "names that stand twice in one object")
    if b"\xe2\x80" in body or b"\xe2\x81" in body or b"\\u20" in body:
        _refuse([*_turned(document, "")], "characters that turn the direction of text")
    return document


def refuse_turned_text(text: str, place: str) -> None:
    """Raise `Refused` when text that is no JSON has signs in it that turn its direction."""
    found = _TURNS.search(text)
    if found:
        line = text.count("\n", 0, found.start()) + 1
        _refuse([_of_turn(place, found[0], f"line {line} has ")], "characters that turn the direction of text")


class CheckedRoute(APIRoute):
    """A route whose JSON body is read by `document_of`, and that takes its turn when its endpoint computes."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """The handler, given a request whose body has been read."""
        plain = super().get_route_handler()
        field, computes = self.body_field, getattr(self.endpoint, "computes", False)

        async def handle(request: Request) -> Response:
            if field is not None:
                request = await _read_ahead(request, field)
            slots: ComputeSlots | None = getattr(request.app.state, "slots", None)
            if not computes or slots is None:
                return await plain(request)
            async with slots.turn(request.state.caller.key_id):
                return await plain(request)

        return handle


class _ReadRequest(Request):
    """A request whose document is known already."""

    document: Any

    async def json(self) -> Any:
        return self.document


async def _read_ahead(request: Request, field: Any) -> Request:
    kind = media_type_of(request.headers.get("content-type", ""))
    if not (kind == "application/json" or (kind.startswith("application/") and kind.endswith("+json"))):
        return request
    body = await request.body()
    if not body:
        return request
    read = _ReadRequest(request.scope, request.receive)
    read._body = body
    if len(body) < LONG_BYTES:
        read.document = document_of(body)
    else:
        read.document = await to_thread.run_sync(_held_against, body, field, limiter=_long_bodies)
    return read


def _held_against(body: bytes, field: Any) -> Any:
    """The contract that a long body fulfils. What is one already is not looked at again by the framework, which does so between all other work."""
    document = document_of(body)
    contract, errors = field.validate(document, {}, loc=("body",))
    if errors:
        raise RequestValidationError(errors, body=document)
    return contract


def _weigh(body: bytes) -> None:
    """Count depth and values without building any; raises `Refused` for more than there may be."""
    most = max(FEWEST_VALUES, len(body) // BYTES_PER_VALUE)
    plain = body.replace(b"\\\\", b"").replace(b'\\"', b"") if b"\\" in body else body
    values, depth, within = 0, 0, False
    for start in range(0, len(plain), SLICE_BYTES):
        pieces = plain[start : start + SLICE_BYTES].split(b'"')
        outside = b"".join(pieces[within::2])
        within ^= len(pieces) % 2 == 0
        values += outside.count(b",") + outside.count(b"[") + outside.count(b"{")
        if values > most:
            raise _too_much("values", values, most)
        steps = map(_STEPS.__getitem__, outside.translate(None, _NOT_BRACKETS))
        *_, depth = depths = [*accumulate(steps, initial=depth)]
        if max(depths) > MOST_DEPTH:
            raise _too_much("levels", max(depths), MOST_DEPTH)


def _too_much(of_what: str, found: int, most: int) -> Refused:
    return Refused("body-too-complex", f"The body has {found} {of_what} or more; a body of its length may have {most}.")


class _Repeated(dict[str, Any]):
    """An object in which a name stands more than once."""

    def __init__(self, made: dict[str, Any], pairs: list[tuple[str, Any]]) -> None:
        super().__init__(made)
        seen: set[str] = set()
        self.names = list(dict.fromkeys(name for name, _ in pairs if name in seen or seen.add(name)))  # type: ignore[func-returns-value]


def _places(document: Any, pointer: str) -> Iterator[tuple[str, Any]]:
    """Every value with its JSON pointer, without a call for each level."""
    left = [(pointer, document)]
    while left:
        pointer, value = left.pop()
        yield pointer, value
        if isinstance(value, dict):
            left += [(f"{pointer}/{name.replace('~', '~0').replace('/', '~1')}", inner) for name, inner in value.items()]
        elif isinstance(value, list):
            left += [(f"{pointer}/{number}", inner) for number, inner in enumerate(value)]


def _repeated_names(document: Any, pointer: str) -> Iterator[ProblemDetail]:
    for place, value in _places(document, pointer):
        for name in getattr(value, "names", ()):
            shown = clean(f"{place}/{name}")
            yield ProblemDetail(
                pointer=shown, reason="the name stands there twice", figure=clean(name)[:60], remedy="keep one of them"
            )


def _turned(document: Any, pointer: str) -> Iterator[ProblemDetail]:
    for place, value in _places(document, pointer):
        texts = [value] if isinstance(value, str) else [*value] if isinstance(value, dict) else []
        for text in texts:
            found = _TURNS.search(text)
            if found:
                yield _of_turn(place, found[0], "it has ")


def _of_turn(place: str, sign: str, before: str) -> ProblemDetail:
    reason = f"{before}the character U+{ord(sign):04X}, which turns the direction of text"
    return ProblemDetail(pointer=clean(place)[:200], reason=reason, figure=f"U+{ord(sign):04X}", remedy="remove it")


def _refuse(details: list[ProblemDetail], what: str) -> None:
    if details:
        first = f"{details[0].pointer or '/'}: {details[0].reason}"
        raise Refused("invalid", f"The body has {what}. First: {first}.", errors=tuple(details[:MOST_NAMED]))
