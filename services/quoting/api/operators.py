"""For operators: read what failed, start it anew when its cause is mended, and watch how quoting stands."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Path, Query, Response
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric

from services.chassis.json_bodies import CheckedRoute
from services.chassis.keys import Caller
from services.chassis.resources import Resources
from services.chassis.web import Tools, answers, needs_role
from services.quoting.api.parts import cursor_of, read_cursor
from services.quoting.service.intake import QUOTES
from services.quoting.service.runs import start
from services.quoting.store.letters import DeadLetters, StoredLetter
from services.quoting.store.repository import standing
from services.quoting.store.webhook_deliveries import standing_of_webhooks
from shared_schemas.dead_letter import DeadLetter, DeadLetterPage
from shared_schemas.problem import Problem
from shared_schemas.quote import FINAL_STATUSES, QuoteAccepted

router = APIRouter(route_class=CheckedRoute)

Admin = Annotated[Caller, Depends(needs_role())]


@router.get(
    "/v1/dead-letters",
    summary="Quotes that failed, newest first",
    response_model=DeadLetterPage,
    responses=answers("invalid", "gone"),
)
def list_dead_letters(
    caller: Admin,
    tools: Tools,
    cursor: str | None = None,
    limit: Annotated[int, Query(ge=1, le=200, description="Entries on a page.")] = 50,
    replayed: Annotated[bool | None, Query(description="Only those that were started anew, or were not.")] = None,
) -> DeadLetterPage:
    rows = DeadLetters(tools.database).page(before=read_cursor(tools, "d", cursor), most=limit + 1, replayed=replayed)
    more = cursor_of(tools, "d", rows[limit - 1].id) if len(rows) > limit else None
    return DeadLetterPage(items=tuple(_letter(row) for row in rows[:limit]), next=more)


@router.post(
    "/v1/dead-letters/{letter}/replay",
    status_code=202,
    summary="Start the failed quote of a dead letter anew",
    response_model=QuoteAccepted,
    responses=answers("not-found", "not-replayable", "invalid"),
)
def replay_dead_letter(
    letter: Annotated[int, Path(ge=1, le=2**63 - 1)], caller: Admin, tools: Tools, answer: Response
) -> QuoteAccepted:
    now = datetime.now(UTC)
    by = f"{caller.label} ({caller.key_id})" if caller.label else caller.key_id
    begun = DeadLetters(tools.database).replay(letter, by=by, now=now, first_check_s=tools.settings.first_check_s)
    start(QUOTES.table, begun, now=now, resources=tools)
    place = f"/v1/quotes/{begun.quote_number}"
    answer.headers["Location"] = place
    answer.headers["Retry-After"] = "1"
    return QuoteAccepted(number=begun.quote_number, revision=begun.revision, status="accepted", links={"self": place})


def _letter(row: StoredLetter) -> DeadLetter:
    return DeadLetter(
        id=row.id,
        number=row.number,
        attempt=row.attempt,
        stage=row.stage,
        problem=Problem.model_validate_json(row.problem),
        traceback=row.traceback,
        versions=row.versions,
        at=row.at,
        quote_status=row.status,
        replayed_at=row.replayed_at,
        replayed_by=row.replayed_by,
    )


def figures(resources: Resources) -> Iterator[Metric]:
    """How quoting stands at this moment, for `/metrics/suite`: read from the tables, where it is true."""
    stand = standing(resources.database)
    quotes = CounterMetricFamily("blankwright_quotes", "Quotes by what became of them", labels=["outcome"])
    for outcome in sorted(FINAL_STATUSES):
        quotes.add_metric([outcome], stand.events.get(outcome, 0))
    yield quotes
    yield CounterMetricFamily(
        "blankwright_started_again",
        "Starts by the sweeper of what did not arrive in time",
        value=stand.events.get("started_again", 0),
    )
    yield CounterMetricFamily(
        "blankwright_late_outcomes_differ",
        "Outcomes that came a second time and were not the same; there must be none",
        value=stand.events.get("late_outcome_differs", 0),
    )
    age_s = (datetime.now(UTC) - stand.oldest_began_at).total_seconds() if stand.oldest_began_at else 0.0
    yield GaugeMetricFamily(
        "blankwright_oldest_traveller_seconds", "Age of the oldest traveller that is under way", value=max(0.0, age_s)
    )
    yield GaugeMetricFamily("blankwright_travellers", "Travellers that are under way", value=stand.under_way)
    yield GaugeMetricFamily("blankwright_waiting_in_batches", "Quotes of batches whose turn has not come", value=stand.waiting)
    yield CounterMetricFamily("blankwright_dead_letters", "Letters that were ever left by a stage that broke", value=stand.letters)
    yield GaugeMetricFamily("blankwright_dead_letters_open", "Letters that nobody has replayed", value=stand.open_letters)
    yield from _figures_of_webhooks(resources)


def _figures_of_webhooks(resources: Resources) -> Iterator[Metric]:
    stand = standing_of_webhooks(resources.database)
    yield GaugeMetricFamily("blankwright_webhook_deliveries_dead", "Deliveries that no endpoint took for a day", value=stand.dead)
    yield GaugeMetricFamily("blankwright_webhooks_gone", "Endpoints that are paused as they answered 410", value=stand.gone)
    age_s = (datetime.now(UTC) - stand.oldest_at).total_seconds() if stand.oldest_at else 0.0
    yield GaugeMetricFamily("blankwright_webhook_oldest_seconds", "Age of the oldest delivery that waits", value=max(0.0, age_s))
