"""Questions to the parts that a process works with: each in a thread of its own, with a deadline, kept for a moment.

A part that is frozen takes a question and never answers. So nobody waits for a question longer than the deadline, no question is
asked a second time while the first is open, and however many callers there are, they share one answer.
"""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Callable, Iterable
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from queue import Empty, SimpleQueue
from typing import Generic, NoReturn, TypeVar

from sqlalchemy.exc import DBAPIError

from services.chassis.resources import Resources, apart

Answer = TypeVar("Answer")

DEADLINE_S = 0.7
"""Within which a question is answered, or counts as unanswered; a probe that waits a second hears of it in time."""

PATIENCE_S = 3.0
"""How long a part that was well goes on to count as well while a question is open: on a machine out of breath answers come late."""

IDLE_FOR_S = 30.0

KEPT_S = 1.0
"""How long an answer is good for everybody who asks."""


@dataclass(frozen=True)
class Check:
    """One question. `ask` gives `None` when all is well, else words for what is wrong; what it raises counts as such words.

    A process whose `needed` check fails is not ready. Any other failed check is told, and the process stays ready: degraded.
    `kept_s` is how long a good answer is kept, for a question that costs something.
    """

    name: str
    ask: Callable[[Resources], str | None]
    needed: bool = True
    kept_s: float = KEPT_S


@dataclass(frozen=True)
class Answered:
    """What a check found; `words` is `None` when all is well."""

    check: Check
    words: str | None


class Checks:
    """The checks of one process, asked through connections of their own."""

    def __init__(self, resources: Resources, checks: Iterable[Check]) -> None:
        beside = apart(resources, DEADLINE_S)
        self._questions = [_Question(check, beside) for check in checks]

    def begin(self) -> None:
        """Ask everything once, at the start of a process: the first connections take longer than the deadline."""
        for question in self._questions:
            question.begin()

    async def answers(self) -> list[Answered]:
        """What each check finds, within the deadline."""
        answers = await asyncio.gather(*(question.answer() for question in self._questions))
        return [Answered(question.check, words) for question, words in zip(self._questions, answers, strict=True)]


class Shared(Generic[Answer]):
    """One question that many ask: it runs in a thread of its own, once at a time, and its answer is kept for a moment."""

    def __init__(self, ask: Callable[[], Answer], *, name: str, deadline_s: float, kept_s: Callable[[Answer], float]) -> None:
        self._ask = ask
        self._name = name
        self._deadline_s = deadline_s
        self._kept_s = kept_s
        self._lock = threading.Lock()
        self._open: Future[Callable[[], Answer]] | None = None
        self._asked: SimpleQueue[Future[Callable[[], Answer]]] = SimpleQueue()
        self._serves = False
        self.asked_at = 0.0
        self._good_until = 0.0

    def begin(self) -> None:
        """Ask, and do not wait for the answer."""
        self._pending()

    async def answer(self) -> Answer:
        """An answer that is young enough, or a new one. Raises `TimeoutError` past the deadline, and what the question raises."""
        pending = self._pending()
        give_up_at = self.asked_at + self._deadline_s
        while not pending.done():
            left_s = give_up_at - time.monotonic()
            if left_s <= 0:
                raise TimeoutError
            # More than once, as the clock of the event loop is behind after a moment in which it was held up.
            with suppress(TimeoutError):
                await asyncio.wait_for(asyncio.shield(asyncio.wrap_future(pending)), left_s)
        return pending.result()()

    def _pending(self) -> Future[Callable[[], Answer]]:
        with self._lock:
            if self._open is None or (self._open.done() and time.monotonic() > self._good_until):
                self._open = Future()
                self.asked_at = time.monotonic()
                self._asked.put(self._open)
                if not self._serves:
                    self._serves = True
                    # A daemon: a process that is told to stop does not wait for a part that is frozen.
                    threading.Thread(target=self._serve, name=self._name, daemon=True).start()
            return self._open

    def _serve(self) -> None:
        # One thread for many questions: to start one holds up the event loop.
        while True:
            try:
                pending = self._asked.get(timeout=IDLE_FOR_S)
            except Empty:
                with self._lock:
                    if self._asked.empty():
                        self._serves = False
                        return
            else:
                self._run(pending)

    def _run(self, pending: Future[Callable[[], Answer]]) -> None:
        try:
            answer = self._ask()
        except Exception as fault:
            self._good_until = time.monotonic() + KEPT_S
            # Not as the exception of the future, of which the loop would speak when nobody waits for it any more.
            pending.set_result(partial(_raise, fault))
        else:
            self._good_until = time.monotonic() + self._kept_s(answer)
            pending.set_result(lambda: answer)


def _raise(fault: Exception) -> NoReturn:
    raise fault


class _Question:
    def __init__(self, check: Check, resources: Resources) -> None:
        self.check = check
        self._shared: Shared[str | None] = Shared(
            lambda: check.ask(resources),
            name=f"check {check.name}",
            deadline_s=DEADLINE_S,
            kept_s=lambda words: KEPT_S if words else check.kept_s,
        )
        self._last: str | None = "not asked yet"

    def begin(self) -> None:
        self._shared.begin()

    async def answer(self) -> str | None:
        try:
            self._last = await self._shared.answer()
        except TimeoutError:
            if self._last is None and time.monotonic() < self._shared.asked_at + PATIENCE_S:
                return None
            self._last = f"no answer within {DEADLINE_S:g} s"
        except Exception as fault:
            self._last = f"no: {_name_of(fault)}"
        return self._last


def _name_of(fault: Exception) -> str:
    of_driver = getattr(fault, "orig", None) if isinstance(fault, DBAPIError) else None
    return type(of_driver or fault).__name__
