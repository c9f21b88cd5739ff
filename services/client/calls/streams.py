"""What happens on a server, followed as it happens."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, cast

from services.client.call import step
from services.client.errors import ServerRefused
from services.client.events import Event
from services.client.following import Stream

if TYPE_CHECKING:
    from shared_schemas.estimate_feed import EstimateEntry
    from shared_schemas.quote import QuoteStatus


def follow_quote(number: str, revision: int | None = None) -> Stream[QuoteStatus]:
    """Each status of a quote as it comes to it, to its outcome; then read the quote."""
    from shared_schemas.quote import FINAL_STATUSES

    return Stream(
        path=f"/v1/quotes/{step(number)}/events", query={"revision": revision}, reads=lambda event: cast("QuoteStatus", event.type),
        ends=lambda event: event.type in FINAL_STATUSES,
    )  # fmt: skip


def follow_estimates(
    after: str | None = None, *, types: Sequence[str] = (), since: str | None = None
) -> Stream[tuple[EstimateEntry, str]]:
    """Each entry of the feed of job estimates as it happens, with the cursor to go on from another day; it does not end by itself.

    Raises `ServerRefused` with status 410 when a backup was restored: cursors of before are not good any more.
    """
    from shared_schemas.estimate_feed import EstimateEntry
    from shared_schemas.problem import Problem

    def read(event: Event) -> tuple[EstimateEntry, str]:
        if event.type == "gone":
            raise ServerRefused(Problem.model_validate_json(event.data))
        return EstimateEntry.model_validate_json(event.data, extra="ignore"), event.id

    return Stream(path="/v1/estimates/events", query={"type": list(types) or None, "since": since}, reads=read, after=after)
