"""Dead letters as an operator sees them."""

from __future__ import annotations

from datetime import datetime

from shared_schemas.base import Contract
from shared_schemas.problem import Problem


class DeadLetter(Contract):
    """What is kept of a quote that failed: where, why, with which versions, and whether it was started anew since.

    `quote_status` is what the quote is now. `traceback` is empty when no stage broke, but none arrived in time.
    """

    id: int
    number: str
    attempt: int
    stage: str
    problem: Problem
    traceback: str
    versions: str
    at: datetime
    quote_status: str
    replayed_at: datetime | None = None
    replayed_by: str | None = None


class DeadLetterPage(Contract):
    """A page of dead letters, newest first; `next` is the cursor of the page after it."""

    items: tuple[DeadLetter, ...]
    next: str | None = None
