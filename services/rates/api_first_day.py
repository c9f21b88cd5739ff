"""Routes of a new shop's first day: forty questions, and a draft of its tables from the answers."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated

from fastapi import APIRouter, Query, Response

from services.chassis.json_bodies import CheckedRoute
from services.chassis.web import Tools, answers
from services.rates.api_drafts import draft_shown, writer_of
from services.rates.api_parts import Engineer
from services.rates.domain.first_day_answers import begun, questions_for
from services.rates.store.drafts import DraftStore
from services.rates.store.repository import RateStore
from shared_schemas.first_day import FirstDay, FirstDayAnswers, FirstDayCheck
from shared_schemas.rate_drafts import Draft, DraftRequest

router = APIRouter(route_class=CheckedRoute)

PATH = "/v1/rates/first-day"
NAME = "first day"


@router.get(
    PATH, summary="The questions by which a new shop's tables are begun", response_model=FirstDay, responses=answers("invalid")
)
def get_first_day(
    caller: Engineer,
    tools: Tools,
    currency: Annotated[
        str | None, Query(max_length=3, description="In which `usual` amounts are said; without it the base.")
    ] = None,
) -> FirstDay:
    """`usual` is what the newest rates say; what nobody answers stays as it is."""
    number, rates = RateStore(tools.database).newest()
    return FirstDay(revision=number, questions=questions_for(rates, currency))


@router.post(
    f"{PATH}/check",
    summary="What answers would change; nothing is kept",
    response_model=FirstDayCheck,
    responses=answers("not-json", "invalid"),
)
def check_first_day(asked: FirstDayAnswers, caller: Engineer, tools: Tools) -> FirstDayCheck:
    number, rates = RateStore(tools.database).newest()
    changed = begun(rates, asked.answers, on=datetime.now(UTC).date())
    return FirstDayCheck(revision=number, tables={table: len(rows) for table, rows in changed.items()})


@router.post(
    PATH,
    status_code=201,
    summary="A draft of the shop's tables, from its answers",
    response_model=Draft,
    responses=answers("not-json", "invalid", "conflict"),
)
def begin_first_day(asked: FirstDayAnswers, caller: Engineer, tools: Tools) -> Response:
    """Nothing is published: the draft is looked at, changed and published as any other."""
    by = writer_of(caller)
    _, rates = RateStore(tools.database).newest()
    changed = begun(rates, asked.answers, on=by.now.date())
    store = DraftStore(tools.database)
    made, _ = store.make(DraftRequest(name=NAME, reason=asked.reason), by)
    store.put_tables(made.number, changed, seen={}, by=by)
    return draft_shown(store.draft(made.number), 201, Location=f"/v1/rates/drafts/{made.number}")
