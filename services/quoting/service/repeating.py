"""An order that repeats an earlier one: the tools that were made for that are there, and are written into the request as it is accepted.

So a quote stays reproducible from its request alone, whatever becomes of the earlier one.
"""

from __future__ import annotations

from collections.abc import Iterator

from services.chassis.resources import Resources
from services.quoting.errors import QuoteUnknown
from services.quoting.service.production_order import tools_of
from services.quoting.store.life import LifeStore
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import StoredQuote
from shared_schemas.problem import ProblemDetail
from shared_schemas.quote import QuoteBody
from shared_schemas.quote_request import QuoteRequest


def with_tools_of_before(request: QuoteRequest, resources: Resources) -> tuple[QuoteRequest, list[ProblemDetail]]:
    """A request with the tools of the order that it repeats, and what is wrong with naming that; nobody else says which tools are there."""
    tools: tuple[str, ...] = ()
    faults: list[ProblemDetail] = []
    if request.repeats is not None:
        ordered = _ordered(request.repeats, resources)
        if isinstance(ordered, str):
            remedy = "the number of a quote that was accepted, or leave it out"
            faults.append(
                ProblemDetail(pointer="/repeats", reason=ordered, figure=request.repeats, limit="an accepted quote", remedy=remedy)
            )
        else:
            tools = tuple(dict.fromkeys(_tools(ordered, resources)))
    return request if tools == request.tools_there else request.model_copy(update={"tools_there": tools}), faults


def _ordered(number: str, resources: Resources) -> StoredQuote | str:
    """The revision of a quote that is ordered, or in words why there is none whose tools could be there."""
    store = QuoteStore(resources.database)
    try:
        latest = store.quote(number)
    except QuoteUnknown:
        return "there is no such quote"
    for revision in range(latest.latest_revision, 0, -1):
        row = latest if revision == latest.revision else store.quote(number, revision)
        if row.decision is not None and row.decision.decision == "accepted":
            return "that quote is archived, with its tools" if row.body is None else row
    return "that quote was not accepted, so no tool was made for it"


def _tools(row: StoredQuote, resources: Resources) -> Iterator[str]:
    """The tools of the quantity that was ordered, and those that were there before it."""
    assert row.body is not None
    assert row.decision is not None
    body = QuoteBody.model_validate_json(row.body)
    yield from QuoteRequest.model_validate_json(LifeStore(resources.database).request_of(row.number)).tools_there
    for price_break in body.breaks:
        if price_break.quantity == row.decision.quantity:
            yield from (tool.item for tool in tools_of(price_break, body))
