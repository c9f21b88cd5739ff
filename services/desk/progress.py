"""How far a quote has come, a line for each stage, with the time since it was sent."""

from __future__ import annotations

from collections.abc import Callable

from shared_schemas.pipeline import LAST, STATIONS

SAID = {
    "accepted": "accepted",
    "checking": "checking the prescription",
    "planning_blanks": "planning the blanks",
    "planning_operations": "planning the operations",
    "assembling": "assembling the price",
    "ready": "ready",
    "refused": "refused",
    "failed": "failed",
}
ORDER = ("accepted", *(station.status for station in STATIONS), "ready")


class Progress:
    """Says each status once, in the order of the stages.

    A look may come after a stage was passed: it is then said with the time of that look. The last stage is also the way
    of a refusal, so stages between are not taken as passed until the quote is ready.
    """

    def __init__(self, say: Callable[[str], None], clock: Callable[[], float]) -> None:
        self._say = say
        self._clock = clock
        self._began = clock()
        self._said: list[str] = []

    def __call__(self, status: str) -> None:
        """Take note of a status that was seen."""
        if status not in ORDER:
            self._line(status)
            return
        due = [one for one in ORDER[: ORDER.index(status) + 1] if one not in self._said]
        if status == LAST.status and len(due) > 1:
            return
        for one in due:
            self._line(one)

    def _line(self, status: str) -> None:
        self._said.append(status)
        self._say(f"{self._clock() - self._began:7.2f} s  {SAID.get(status, status.replace('_', ' '))}")
