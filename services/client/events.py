"""Server-sent events, as WHATWG's HTML standard says they are read (9.2.6 "Interpreting an event stream"). Nothing here connects."""

from __future__ import annotations

import codecs
from collections.abc import Iterator
from dataclasses import dataclass

MOST_CHARACTERS = 16 * 2**20
"""Of one event; more than any document of a server has."""


@dataclass(frozen=True)
class Event:
    """An event: its type, its data, and the last id that the stream had said by then."""

    type: str
    data: str
    id: str


class EventTooLong(ValueError):
    """An event that does not end."""


class EventReader:
    """Reads a stream piece by piece; `last_id` and `retry_s` are what it has said so far of coming back."""

    def __init__(self, last_id: str = "") -> None:
        self.last_id = last_id
        self.retry_s: float | None = None
        self._id = last_id
        self._type = ""
        self._data: list[str] = []
        self._length = 0
        self._rest = ""
        self._after_cr = False
        self._decoder = codecs.getincrementaldecoder("utf-8-sig")("replace")

    def read(self, piece: bytes) -> Iterator[Event]:
        """The events that a piece of the stream completes; raises `EventTooLong`."""
        for line in self._lines(self._decoder.decode(piece)):
            if line:
                self._field(line)
                continue
            event = self._dispatched()
            if event is not None:
                yield event

    def _lines(self, text: str) -> Iterator[str]:
        """Whole lines; they end in CR LF, LF or CR, and a CR at the end of a piece may have its LF in the next."""
        if self._after_cr and text:
            text = text.removeprefix("\n")
            self._after_cr = False
        self._length += len(text)
        text = self._rest + text
        self._after_cr = text.endswith("\r") or (self._after_cr and not text)
        *lines, self._rest = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
        if self._length > MOST_CHARACTERS:
            raise EventTooLong(f"an event is longer than {MOST_CHARACTERS} characters")
        yield from lines

    def _field(self, line: str) -> None:
        name, _, value = line.partition(":")
        value = value.removeprefix(" ")
        match name:
            case "data":
                self._data.append(value)
            case "event":
                self._type = value
            case "id" if "\0" not in value:
                self._id = value
            case "retry" if value.isascii() and value.isdigit():
                self.retry_s = int(value) / 1000

    def _dispatched(self) -> Event | None:
        self.last_id = self._id
        data, kind = self._data, self._type
        self._data, self._type, self._length = [], "", len(self._rest)
        return Event(kind or "message", "\n".join(data), self.last_id) if data else None
