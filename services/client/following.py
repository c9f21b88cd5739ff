"""Following what happens: a stream of events, taken up again where it broke off."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Generic, TypeVar

from pydantic import ValidationError

from services.client.call import BUSY, TOO_OFTEN, Call, Means, accepted, nothing
from services.client.errors import AnswerNotUnderstood, ServerUnreachable
from services.client.events import Event, EventReader, EventTooLong
from services.client.patience import retry_after_s

if TYPE_CHECKING:
    import httpx

T = TypeVar("T")
EVENT_STREAM = "text/event-stream"
SILENCE_S = 60.0
"""A server says something at least every 15 s, if only that it is there."""
LONGEST_OUTAGE_S = 300.0


@dataclass(frozen=True, kw_only=True)
class Stream(Generic[T]):
    """What is followed: `reads` makes a value of an event; with the event for which `ends` holds it is over.

    Where the server stays away longer than `outage_s`, following ends with what was wrong.
    """

    path: str
    query: dict[str, str | int | list[str] | None]
    reads: Callable[[Event], T]
    ends: Callable[[Event], bool] = lambda _: False
    after: str | None = None
    outage_s: float = LONGEST_OUTAGE_S


class Following(Generic[T]):
    """How far a stream has been followed: what comes next is asked for with `call`, waited for with `pause_s`."""

    def __init__(self, stream: Stream[T], means: Means) -> None:
        self._stream = stream
        self._means = means
        self._reader = EventReader(stream.after or "")
        self._heard_at = means.clock()
        self._failed = 0
        self._said_something = False
        self.pause_s = 0.0
        self.is_over = False

    def call(self) -> Call[None]:
        """The request by which it begins, or goes on."""
        self._reader, self._said_something = replace_reader(self._reader), False
        headers = {"Accept": EVENT_STREAM, **({"Last-Event-ID": self._reader.last_id} if self._reader.last_id else {})}
        return replace(nothing("GET", self._stream.path, query=self._stream.query), headers=headers)

    def must_retry(self, answer: httpx.Response) -> bool:
        """Whether the answer, which was read whole where it is a problem, asks to come back later; raises `ServerRefused`, or
        `AnswerNotUnderstood` where it is no stream."""
        kind = answer.headers.get("Content-Type", "")
        if answer.is_success and not kind.startswith(EVENT_STREAM):
            why = f"it is {kind or 'of no stated type'}, not {EVENT_STREAM}"
            raise AnswerNotUnderstood(str(answer.request.url), answer.status_code, why)
        again = answer.status_code in BUSY or answer.status_code == TOO_OFTEN
        if not again or self._outage_s >= self._stream.outage_s:
            accepted(answer)
        if again:
            self._failed += 1
            self.pause_s = retry_after_s(answer) or self._usual_s
        return again

    def heard(self, piece: bytes, url: str) -> Iterator[T]:
        """The values of a piece of the stream; raises `AnswerNotUnderstood`."""
        self._heard_at, self._failed, self._said_something = self._means.clock(), 0, True
        try:
            for event in self._reader.read(piece):
                yield self._stream.reads(event)
                if self._stream.ends(event):
                    self.is_over = True
                    return
        except (EventTooLong, ValidationError) as fault:
            raise AnswerNotUnderstood(url, 200, str(fault).partition("\n")[0]) from fault

    def ended(self) -> None:
        """The server ended the stream; it is taken up again, after ever longer where it says nothing at all."""
        self.pause_s = self._reader.retry_s if self._reader.retry_s is not None else self._means.patience.first_wait_s
        if self._said_something:
            return
        self._failed += 1
        self.pause_s = max(self.pause_s, self._usual_s)
        if self._outage_s >= self._stream.outage_s:
            raise ServerUnreachable(self._stream.path, "the stream ends as soon as it begins")

    def broke(self, fault: ServerUnreachable) -> None:
        """The connection broke; raises the fault when the server has been away for long."""
        self._failed += 1
        if self._outage_s >= self._stream.outage_s:
            raise fault
        self.pause_s = self._usual_s

    @property
    def _outage_s(self) -> float:
        return self._means.clock() - self._heard_at

    @property
    def _usual_s(self) -> float:
        return self._means.patience.wait_s(self._failed, self._means.draw)


def replace_reader(old: EventReader) -> EventReader:
    """A reader for the next connection: half an event is forgotten, where it ended is not."""
    new = EventReader(old.last_id)
    new.retry_s = old.retry_s
    return new
