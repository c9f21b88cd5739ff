"""The route that lists quotes and searches them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Annotated

from fastapi import APIRouter, Depends, Query

from services.chassis.json_bodies import CheckedRoute
from services.chassis.resources import Resources
from services.chassis.web import Tools, answers
from services.quoting.api.parts import Most, Now, Reader, cursor_of, read_places
from services.quoting.follow_up_errors import SearchCannotBe
from services.quoting.service.documents import state_of, status_now
from services.quoting.store.searching import ListedQuote, QuoteList, Search
from shared_schemas.base import NO_CONTROLS, Day
from shared_schemas.problem import ProblemDetail
from shared_schemas.quote import QuoteState, QuoteStatus
from shared_schemas.quote_list import FollowUp, ListedPrice, QuotePage, QuoteSummary

router = APIRouter(route_class=CheckedRoute)

USUAL_DAYS = 7
Words = Annotated[str | None, Query(max_length=200, pattern=NO_CONTROLS)]
Amount = Annotated[Decimal | None, Query(ge=0, le=10**12)]


def _search(
    now: Now,
    status: QuoteStatus | None = None,
    state: Annotated[QuoteState | None, Query(description="Where a quote stands with the customer.")] = None,
    text: Annotated[Words, Query(description="Words, each of them in number, customer, reference, title or contact; case and accents do not count.")] = None,
    customer: Annotated[Words, Query(description="Words in the customer's name.")] = None,
    reference: Annotated[Words, Query(description="Words in what the customer calls it.")] = None,
    created_from: Annotated[Day | None, Query(description="Asked for on this day (UTC) or later.")] = None,
    created_to: Annotated[Day | None, Query(description="Asked for on this day (UTC) or before.")] = None,
    valid_from: Annotated[Day | None, Query(description="Valid until this day or a later one.")] = None,
    valid_to: Annotated[Day | None, Query(description="Valid until this day or an earlier one.")] = None,
    currency: Annotated[str | None, Query(pattern=r"^[A-Z]{3}$", description="Quoted in this currency.")] = None,
    price_from: Annotated[Amount, Query(description="A total price of one of its quantities is this or more; needs currency.")] = None,
    price_to: Annotated[Amount, Query(description="And this or less.")] = None,
    element: Annotated[Words, Query(description="An element of this name.")] = None,
    glass: Annotated[Words, Query(description="A glass of this name, however it is spelled: N-BK7, nbk7.")] = None,
    by: Annotated[Words, Query(description="Asked for with the key of this id or name.")] = None,
    follow_up: Annotated[FollowUp | None, Query(description="Open and soon to expire, or open and long without an answer.")] = None,
    within_days: Annotated[
        int | None, Query(ge=0, le=366, description=f"How many days are soon, or long, in follow_up; without it {USUAL_DAYS}.")
    ] = None,
) -> Search:  # fmt: skip
    search = Search(
        today=now.date(), now=now, status=status, state=state, text=text, customer=customer, reference=reference,
        created_from=created_from, created_to=created_to, valid_from=valid_from, valid_to=valid_to, currency=currency,
        price_from=price_from, price_to=price_to, element=element, glass=glass, by=by, follow_up=follow_up,
        within_days=USUAL_DAYS if within_days is None else within_days,
    )  # fmt: skip
    faults = [*_faults_of(search)]
    if within_days is not None and follow_up is None:
        faults.append(
            _fault("within_days", "within_days is said of follow_up alone", within_days, "add follow_up, or leave it out")
        )
    if faults:
        raise SearchCannotBe(faults)
    return search


def _faults_of(search: Search) -> Iterator[ProblemDetail]:
    for name in ("price_from", "price_to"):
        if getattr(search, name) is not None and search.currency is None:
            yield _fault(name, "an amount needs its currency", str(getattr(search, name)), "add currency, such as currency=USD")
    ranges: tuple[tuple[str, date | Decimal | None, date | Decimal | None], ...] = (
        ("created", search.created_from, search.created_to),
        ("valid", search.valid_from, search.valid_to),
        ("price", search.price_from, search.price_to),
    )
    for name, low, high in ranges:
        if low is not None and high is not None and low > high:  # type: ignore[operator]  # both of one kind
            yield _fault(f"{name}_from", f"{name}_from lies above {name}_to", str(low), f"at most {high}")


def _fault(name: str, reason: str, figure: object, remedy: str) -> ProblemDetail:
    return ProblemDetail(pointer=f"/query/{name}", reason=reason, figure=figure, remedy=remedy)


@router.get("/v1/quotes", summary="Quotes, newest first", response_model=QuotePage, responses=answers("invalid", "gone"))
def list_quotes(
    caller: Reader, tools: Tools, search: Annotated[Search, Depends(_search)], cursor: str | None = None, limit: Most = 50
) -> QuotePage:  # fmt: skip
    """Each quote once: by the last revision that was accepted, else by its latest. Filters are of that revision, and all must hold."""
    before = read_places(tools, "q", cursor)
    found, unread = QuoteList(tools.database).page(search, before=before, most=limit + 1)
    last = found[limit - 1].row if len(found) > limit else None
    return QuotePage(
        items=tuple(_line(one, search.today, tools) for one in found[:limit]),
        next=cursor_of(tools, "q", last.position, last.revision) if last else None,
        unread=unread,
    )


def _line(listed: ListedQuote, today: date, tools: Resources) -> QuoteSummary:
    row = listed.row
    return QuoteSummary(
        number=row.quote_number,
        revision=row.revision,
        latest_revision=row.latest_revision if row.latest_revision > row.revision else None,
        status=status_now(row, tools),
        state=state_of(row, today=today),
        valid_until=row.valid_until,
        customer=row.customer,
        reference=row.reference,
        title=row.title,
        created_at=row.created_at,
        asked_by=listed.asked_by,
        currency=listed.currency,
        prices=tuple(ListedPrice.model_validate(one, from_attributes=True) for one in listed.prices),
        decided_by=row.decision.decided_by if row.decision else "",
        decided_at=row.decision.at if row.decision else None,
    )
