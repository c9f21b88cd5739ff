"""Answers that have no end of their own: only so many are open at once, and none keeps a process that is told to end."""

from __future__ import annotations

import signal
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from types import FrameType

from services.chassis.refusals import Refused

MOST_OPEN = 64
MOST_OF_KEY = 4
"""A caller that listens needs one, and while it comes back over a broken line two."""

Handler = Callable[[int, FrameType | None], object]


class OpenStreams:
    """The open streams of this process: `most` in all, `most_of_key` of each key."""

    def __init__(self, most: int = MOST_OPEN, most_of_key: int = MOST_OF_KEY) -> None:
        self._most = most
        self._most_of_key = most_of_key
        self._of_key: Counter[str] = Counter()
        self.must_end = False
        """Whether the process was told to end; a stream looks at it now and then."""

    @contextmanager
    def place(self, key_id: str) -> Iterator[None]:
        """Hold a place for one stream of a key; raises `Refused` where there is none."""
        if self._of_key[key_id] >= self._most_of_key:
            said = f"This key has {self._most_of_key} streams open, which is as many as it may; close one, or ask page by page."
            raise Refused("too-often", said, Retry_After="10")
        if self._of_key.total() >= self._most:
            said = (
                f"{self._most} streams are open, which is as many as there may be; ask page by page, or come again a little later."
            )
            raise Refused("busy", said, Retry_After="30")
        self._of_key[key_id] += 1
        try:
            yield
        finally:
            self._of_key[key_id] -= 1
            self._of_key += Counter()  # forgets keys that have none

    def end_with_the_process(self) -> None:
        """Hear the signals by which a process is told to end, before whoever heard them until now.

        The server waits for every answer under way, and asks none of them to end.
        """
        if threading.current_thread() is not threading.main_thread():
            return
        for number in (signal.SIGTERM, signal.SIGINT):
            before = signal.getsignal(number)
            if callable(before):
                signal.signal(number, partial(self._told, before))

    def _told(self, before: Handler, number: int, frame: FrameType | None) -> None:
        self.must_end = True
        before(number, frame)
