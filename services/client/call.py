"""One request as a value: what is asked, and how its answer is read. Nothing here sends anything.

A `Call` is walked through by a sender: `steps` yields what is to be sent and how long to pause, and returns the answer. So a client that blocks
and one that does not share every rule of it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Generic, Protocol, TypeVar
from urllib.parse import quote as percent_encoded

from pydantic import BaseModel, ValidationError

from services.client.errors import AnswerNotUnderstood, ServerRefused, ServerUnreachable
from services.client.patience import Patience, retry_after_s
from shared_schemas.problem import Problem

if TYPE_CHECKING:
    import httpx

T = TypeVar("T")
T_co = TypeVar("T_co", covariant=True)
Contract = TypeVar("Contract", bound=BaseModel)

JSON, PROBLEM = "application/json", "application/problem+json"
TOO_OFTEN = 429
BUSY = frozenset({502, 503, 504})
SAFE = frozenset({"GET", "HEAD", "PUT", "DELETE"})
"""Methods that do the same however often they are sent (RFC 9110, 9.2.2)."""

Query = Mapping[str, "str | int | bool | date | Decimal | Sequence[str] | None"]


@dataclass(frozen=True)
class Pause:
    """A wait before the next step [s]."""

    seconds: float


@dataclass(frozen=True)
class Key:
    """The Idempotency-Key under which a call is to be sent that has none of its own."""

    call: Call[Any]


@dataclass(frozen=True, kw_only=True)
class Means:
    """What steps go by: how patient, a clock [s], a draw from 0 to 1."""

    patience: Patience
    clock: Callable[[], float]
    draw: Callable[[], float]


Steps = Generator["Call[Any] | Pause | Key", Any, T]
"""What is to be sent (then an answer or a `ServerUnreachable` is sent in), how long to pause (None), which key to find (a string)."""


class Asking(Protocol[T_co]):
    """What a client can be asked: a call, or a wait made of calls."""

    def steps(self, means: Means) -> Generator[Any, Any, T_co]:
        """What is to be sent and when; returns the answer."""


@dataclass(frozen=True, kw_only=True)
class Call(Generic[T_co]):
    """A request and the reading of its answer. `keyed` where the route takes an Idempotency-Key, which `key` is; `repeatable` where a POST
    keeps nothing, or answers the same when it is told again."""

    method: str
    path: str
    reads: Callable[[httpx.Response], T_co]
    query: Query = field(default_factory=dict)
    body: Any = None
    content: bytes | None = None
    headers: Mapping[str, str] = field(default_factory=dict)
    keyed: bool = False
    key: str | None = None
    repeatable: bool = False
    reads_any_status: bool = False
    wait_for_answer_s: float = 0.0
    """How much longer than usual the server may take, as it was asked to wait."""

    def steps(self, means: Means) -> Steps[T_co]:
        """Send, and send again as far as patience goes and it can do no harm; raises `ServerUnreachable`, `ServerRefused`, `AnswerNotUnderstood`."""
        if self.keyed and self.key is None:
            return (yield from replace(self, key=(yield Key(self))).steps(means))
        patience, failed, waited_s = means.patience, 0, 0.0
        while True:
            heard: httpx.Response | ServerUnreachable = yield self
            failed += 1
            wait_s = self._wait_s(heard, failed, means)
            if wait_s is None or waited_s + wait_s > patience.all_waits_s:
                if isinstance(heard, ServerUnreachable):
                    raise heard
                return self.reads(heard if self.reads_any_status else accepted(heard))
            waited_s += wait_s
            yield Pause(wait_s)

    def _wait_s(self, heard: httpx.Response | ServerUnreachable, failed: int, means: Means) -> float | None:
        """The wait before it is sent again, or None where it is not."""
        usual = means.patience.wait_s(failed, means.draw)
        again = failed < means.patience.tries
        if isinstance(heard, ServerUnreachable):
            return usual if again and (heard.unsent or self._may_repeat) else None
        if self.reads_any_status:
            return None
        if heard.status_code == TOO_OFTEN:  # not begun, whatever it was
            return retry_after_s(heard) or max(0.5, usual)
        if heard.status_code in BUSY and again and self._may_repeat:
            return retry_after_s(heard) or usual
        return None

    @property
    def _may_repeat(self) -> bool:
        """Whether twice does what once does, and answers the same: what was changed under an ETag has another one the second time."""
        return self.repeatable or self.key is not None or (self.method in SAFE and "If-Match" not in self.headers)

    def named(self) -> str:
        """What makes two calls the same request: method, path, query and body."""
        whole = [self.method, self.path, sorted(sent_query(self.query).items()), self.body]
        return json.dumps(whole, sort_keys=True) + (self.content or b"").hex()


def call(
    kind: type[Contract], method: str, path: str, *, query: Query | None = None, body: Any = None, content: bytes | None = None,
    headers: Mapping[str, str] | None = None, keyed: bool = False, key: str | None = None, repeatable: bool = False,
    wait_for_answer_s: float = 0.0,
) -> Call[Contract]:  # fmt: skip
    """A call whose answer is a contract."""
    return Call(
        method=method, path=path, reads=lambda answer: understood(kind, answer), query=query or {}, body=plain(body), content=content,
        headers={"Accept": JSON, **(headers or {})}, keyed=keyed or key is not None, key=key, repeatable=repeatable,
        wait_for_answer_s=wait_for_answer_s,
    )  # fmt: skip


def tagged(kind: type[Contract], method: str, path: str, **more: Any) -> Call[tuple[Contract, str]]:
    """A call whose answer is a contract with its ETag, which a change must show."""
    plain_call = call(kind, method, path, **more)
    return replace_reading(plain_call, lambda answer: (understood(kind, answer), answer.headers.get("ETag", "")))


def document(media_type: str, path: str, query: Query | None = None) -> Call[bytes]:
    """A call whose answer is a document of a media type; raises `AnswerNotUnderstood` where it is of another."""

    def read(answer: httpx.Response) -> bytes:
        sent = answer.headers.get("Content-Type", "")
        if not sent.startswith(media_type):
            why = f"it is {sent or 'of no stated type'}, not {media_type}"
            raise AnswerNotUnderstood(str(answer.request.url), answer.status_code, why)
        return answer.content

    return Call(
        method="GET", path=path, reads=read, query=query or {}, headers={"Accept": f"{media_type}, {PROBLEM};q=0.5"}
    )  # fmt: skip


def tagged_document(media_type: str, path: str, query: Query | None = None, *, header: str = "ETag") -> Call[tuple[bytes, str]]:
    """As `document`, with what a header of the answer says."""
    whole = document(media_type, path, query)
    return replace_reading(whole, lambda answer: (whole.reads(answer), answer.headers.get(header, "")))


def text(media_type: str, path: str, query: Query | None = None) -> Call[str]:
    """As `document`, and read as text in UTF-8."""
    whole = document(media_type, path, query)

    def read(answer: httpx.Response) -> str:
        try:
            return whole.reads(answer).decode()
        except UnicodeDecodeError as fault:
            raise AnswerNotUnderstood(str(answer.request.url), answer.status_code, "it is not in UTF-8") from fault

    return replace_reading(whole, read)


def replace_reading(asked: Call[Any], reads: Callable[[httpx.Response], T]) -> Call[T]:
    """The same request, its answer read otherwise."""
    return Call(**{**vars(asked), "reads": reads})


def nothing(method: str, path: str, **more: Any) -> Call[None]:
    """A call of whose answer nothing is read but that it was accepted."""
    return Call(method=method, path=path, reads=lambda _: None, **more)


def accepted(answer: httpx.Response) -> httpx.Response:
    """The answer, where it is no problem; raises `ServerRefused`."""
    if not answer.is_success:
        raise ServerRefused(understood(Problem, answer))
    return answer


def understood(kind: type[Contract], answer: httpx.Response) -> Contract:
    """The answer as a contract; raises `AnswerNotUnderstood`. What a later server says besides is passed over; what is sent stays strict."""
    try:
        return kind.model_validate_json(answer.content, extra="ignore")
    except ValidationError as fault:
        first = fault.errors(include_url=False, include_input=False)[0]
        place = "/".join(str(step) for step in first["loc"])
        why = f"{place or 'the body'}: {first['msg']}"
        raise AnswerNotUnderstood(str(answer.request.url), answer.status_code, why) from fault


def step(name: str | int) -> str:
    """A name as one step of a path, which it cannot leave."""
    return percent_encoded(str(name), safe="")


def sent_query(query: Query) -> dict[str, str | list[str]]:
    """A query as it is sent: what is None is left out, a day in its ISO form, `true` and `false` in small letters."""
    return {name: _sent(value) for name, value in query.items() if value is not None}


def _sent(value: str | int | bool | date | Decimal | Sequence[str]) -> str | list[str]:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, date):
        return value.isoformat()
    return str(value) if isinstance(value, (str, int, Decimal)) else list(value)


def plain(value: Any) -> Any:
    """A value as JSON has it: a contract whole, an amount as a decimal string, a day in its ISO form."""
    if isinstance(value, BaseModel):
        return value.model_dump(mode="json")
    if isinstance(value, Mapping):
        return {name: plain(inner) for name, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(inner) for inner in value]
    if isinstance(value, Decimal):
        return str(value)
    return value.isoformat() if isinstance(value, date) else value


@dataclass(frozen=True)
class Pages(Generic[T_co]):
    """All of a list: `page` asks for the page after a cursor, the first after None."""

    page: Callable[[str | None], Call[Any]]
