"""Calls about the shop: its load, dates, job estimates."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from services.client.call import Call, call, step, text

if TYPE_CHECKING:
    from shared_schemas.estimate import Estimate, EstimatePart, EstimatePlan
    from shared_schemas.estimate_feed import EstimatePage
    from shared_schemas.lead_times import Promise, PromiseRequest
    from shared_schemas.load import LoadBook

CSV = "text/csv"


def promise(number: str, asked: PromiseRequest) -> Call[Promise]:
    """When so many of a quote would be ready, if they were ordered today. The quote stays as it is."""
    from shared_schemas.lead_times import Promise

    return call(Promise, "POST", f"/v1/quotes/{step(number)}/promise", body=asked)


def load(weeks: int = 13) -> Call[LoadBook]:
    """The book of load: booked and free hours by work centre and week."""
    from shared_schemas.load import LoadBook

    return call(LoadBook, "GET", "/v1/load", query={"weeks": weeks})


def estimates(
    after: str | None = None,
    *,
    types: Sequence[str] = (),
    since: str | None = None,
    wait_s: int | None = None,
    limit: int | None = None,
) -> Call[EstimatePage]:
    """A page of the feed of job estimates, oldest first: `after` is the cursor to go on from, `wait_s` how long it may wait for an entry."""
    from shared_schemas.estimate_feed import EstimatePage

    query = {"after": after, "since": since, "type": list(types) or None, "limit": limit}
    headers = {"Prefer": f"wait={wait_s}"} if wait_s else None
    return call(EstimatePage, "GET", "/v1/estimates", query=query, headers=headers, wait_for_answer_s=wait_s or 0)


def estimate(number: str, quantity: int | None = None) -> Call[Estimate]:
    """One job estimate in full: every quantity that was quoted, or one of them, and the routes with what explains them."""
    from shared_schemas.estimate import Estimate

    return call(Estimate, "GET", _place(number), query={"quantity": quantity})


def estimate_plan(number: str, quantity: int | None = None) -> Call[EstimatePlan]:
    """One job estimate to plan from: the quantity that is ordered, if one is and no other is named."""
    from shared_schemas.estimate import EstimatePlan

    return call(EstimatePlan, "GET", _place(number), query={"view": "plan", "quantity": quantity})


def estimate_csv(number: str, part: EstimatePart = "operations", quantity: int | None = None) -> Call[str]:
    """One list of a job estimate as CSV."""
    return text(CSV, _place(number), {"part": part, "quantity": quantity})


def _place(number: str) -> str:
    return f"/v1/estimates/{step(number)}"
