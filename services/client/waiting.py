"""Waiting for what a server works out: look, pause, look again."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from typing import Generic, TypeVar

from services.client.call import Call, Means, Pause, Steps
from services.client.errors import ContactLost, ServerRefused, ServerUnreachable, WaitedTooLong

T = TypeVar("T")

FIRST_PAUSE_S, LONGEST_PAUSE_S, PAUSE_GROWS_BY = 0.03, 1.0, 1.35
LONGEST_OUTAGE_S = 20.0
"""So long every look may fail while something is awaited; a server that restarts is not a lost quote."""


@dataclass(frozen=True, kw_only=True)
class Wait(Generic[T]):
    """What `look` finds when its status is one of `ends`: often at first, then ever more seldom, once a second at last."""

    look: Call[T]
    status: Callable[[T], str]
    ends: Collection[str]
    what: str
    number: str
    timeout_s: float
    on_look: Callable[[T], None] = lambda _: None

    def steps(self, means: Means) -> Steps[T]:
        """Raises `WaitedTooLong`, or `ContactLost` when the server stays away."""
        began = heard = means.clock()
        pause, status = FIRST_PAUSE_S, "accepted"
        each_look = replace(means, patience=replace(means.patience, tries=1))  # an outage is borne here, look by look
        while True:
            try:
                found = yield from self.look.steps(each_look)
            except (ServerUnreachable, ServerRefused) as fault:
                if isinstance(fault, ServerRefused) and fault.status < 500:
                    raise
                if means.clock() - heard >= min(LONGEST_OUTAGE_S, self.timeout_s):
                    raise ContactLost(self.number, str(fault), what=self.what) from fault
            else:
                heard = means.clock()
                status = self.status(found)
                self.on_look(found)
                if status in self.ends:
                    return found
            waited = means.clock() - began
            if waited >= self.timeout_s:
                raise WaitedTooLong(self.number, status, waited, what=self.what)
            yield Pause(min(pause, self.timeout_s - waited))
            pause = min(pause * PAUSE_GROWS_BY, LONGEST_PAUSE_S)
