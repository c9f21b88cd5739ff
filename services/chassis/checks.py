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
from dataclasses import dataclass, replace

from sqlalchemy.exc import DBAPIError

from services.chassis.resources import Resources, hurried

DEADLINE_S = 0.7
"""Within which a question is answered, or counts as unanswered; a probe that waits a second hears of it in time."""

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
class Finding:
    """What a check found; `words` is `None` when all is well."""

    check: Check
    words: str | None


class Checks:
    """The checks of one process, asked through connections of their own."""

    def __init__(self, resources: Resources, checks: Iterable[Check]) -> None:
        apart = replace(resources, database=resources.database.apart(), redis=hurried(resources.redis, DEADLINE_S))
        self._questions = [_Question(check, apart) for check in checks]

    async def findings(self) -> list[Finding]:
        """What each check finds, within the deadline."""
        answers = await asyncio.gather(*(question.answer() for question in self._questions))
        return [Finding(question.check, words) for question, words in zip(self._questions, answers, strict=True)]


class _Question:
    def __init__(self, check: Check, resources: Resources) -> None:
        self.check = check
        self._resources = resources
        self._lock = threading.Lock()
        self._open: Future[str | None] | None = None
        self._asked_at = 0.0
        self._answered_at = 0.0

    async def answer(self) -> str | None:
        """The words of an answer that is young enough, or of a new one; those for none when the deadline passes."""
        pending = self._pending()
        left_s = max(0.0, self._asked_at + DEADLINE_S - time.monotonic())
        try:
            return await asyncio.wait_for(asyncio.shield(asyncio.wrap_future(pending)), left_s)
        except TimeoutError:
            return f"no answer within {DEADLINE_S:g} s"

    def _pending(self) -> Future[str | None]:
        with self._lock:
            if self._open is None or (self._open.done() and self._is_stale(self._open)):
                self._open = Future()
                self._asked_at = time.monotonic()
                # A daemon: a process that is told to stop does not wait for a part that is frozen.
                threading.Thread(target=self._ask, args=(self._open,), name=f"check {self.check.name}", daemon=True).start()
            return self._open

    def _is_stale(self, answered: Future[str | None]) -> bool:
        kept_s = self.check.kept_s if answered.result() is None else KEPT_S
        return time.monotonic() - self._answered_at > kept_s

    def _ask(self, pending: Future[str | None]) -> None:
        try:
            words = self.check.ask(self._resources)
        except Exception as fault:
            words = f"no: {_name_of(fault)}"
        self._answered_at = time.monotonic()
        pending.set_result(words)


def _name_of(fault: Exception) -> str:
    of_driver = getattr(fault, "orig", None) if isinstance(fault, DBAPIError) else None
    return type(of_driver or fault).__name__
