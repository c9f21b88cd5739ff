"""What proposed rates would do to open quotes: asked for, worked out by travellers of its own, told.

A traveller of an impact carries a quote's request and day with the number of the proposal as its rates, and where the issued price does
not tell today's, another with the newest revision. They go through the same stations as the quote did, and the last one notes the prices
and days. Where the draft changes no table that the lens is priced by, the traveller goes to the last station at once. No quote is touched.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from typing import cast

from services.chassis.load_source import pinned_snapshot
from services.chassis.pipeline import read_section
from services.chassis.problems import clean
from services.chassis.resources import Resources
from services.chassis.version import VERSION
from services.quoting.errors import RequestUnanswerable
from services.quoting.pricing.prices_only import prices_as_issued, prices_of
from services.quoting.pricing.tables_read import READ_BY, is_priced_by
from services.quoting.service.assembling import parsed
from services.quoting.service.documents import state_of
from services.quoting.service.impact_figures import Rated, by_customer, figures_of, totals_of
from services.quoting.service.runs import RunKind, admit, bounds_of
from services.quoting.store.blocks import digest_of
from services.quoting.store.impacts import (
    AT_TODAY,
    IMPACT_RUNS,
    ImpactStore,
    Proposed,
    QuoteToHold,
    StoredImpact,
    StoredImpactedQuote,
)
from services.quoting.store.rows import IdempotencyKey, Outcome, StoredQuote
from services.quoting.store.runs import accepted_before, by_number
from shared_schemas.base import canonical_json
from shared_schemas.problem import Problem, ProblemDetail
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rate_impact import ImpactChoice, ImpactedQuote, ImpactOutcome, RatedQuote, RateImpact, SideFigures
from shared_schemas.rates import TABLES


def accept_impact(
    choice: ImpactChoice, body: bytes, content_type: str, *, caller: str, label: str, idempotency_key: str | None, trace: str,
    now: datetime, resources: Resources,
) -> tuple[str, bool]:  # fmt: skip
    """Have a draft or a table kept as a proposal and begin to hold open quotes against it: the impact's number, and whether it is a new one.

    `body` are the rows of a table as the rates service takes them. Raises `ProposalRefused` for rates that cannot be,
    `RequestUnanswerable` for quotes that are not open, `QueueFull`, `KeyHasEnough`, `IdempotencyKeyReused`.
    """
    key = _key(choice, body, caller=caller, key=idempotency_key)
    known = accepted_before(resources.database, key, known=by_number)
    if known is not None:
        return known, False
    quotes = _chosen(choice, now=now, resources=resources)
    asked_by = clean(f"{label[:300]} ({caller})") if label else caller
    proposed = _proposed(choice, body, content_type, by=asked_by, resources=resources)
    number, is_new = ImpactStore(resources.database).accept(
        proposed,
        _to_hold(quotes, proposed, resources),
        key,
        now=now,
        asked_by=asked_by,
        caller=caller,
        trace=trace,
        kept_days=resources.settings.proposals_kept_days,
        bounds=bounds_of(resources.settings),
    )
    if is_new:
        admit(now=now, resources=resources)
    return number, is_new


def _key(choice: ImpactChoice, body: bytes, *, caller: str, key: str | None) -> IdempotencyKey | None:
    if key is None:
        return None
    asked = choice.model_dump_json(exclude={"rows"}).encode() + b"\n" + body
    return IdempotencyKey(caller, "POST /v1/rates/impact", key, hashlib.sha256(asked).digest())


def _proposed(choice: ImpactChoice, body: bytes, content_type: str, *, by: str, resources: Resources) -> Proposed:
    """The proposal, with the tables in which it differs from the revision that it would be published on."""
    rates = resources.rates
    proposal = (
        rates.propose_draft(choice.draft, by=by)
        if choice.draft is not None
        else rates.propose(choice.table or "", body, content_type, by=by)
    )
    base, draft = rates.revision(proposal.base_revision).rates, rates.revision(proposal.number).rates
    tables = tuple(table for table in TABLES if getattr(base, table) != getattr(draft, table))
    return Proposed(proposal=proposal, tables=tables, draft=choice.draft)


def _to_hold(quotes: Sequence[StoredQuote], proposed: Proposed, resources: Resources) -> list[QuoteToHold]:
    """What of each quote has to be worked out."""
    may_be_unread = set(proposed.tables) <= set(READ_BY)
    requests = ImpactStore(resources.database).requests([quote.number for quote in quotes]) if may_be_unread else {}
    return [
        QuoteToHold(
            number=quote.number,
            today_as_issued=quote.rate_revision == proposed.proposal.base_revision and quote.release == VERSION,
            unread=may_be_unread
            and not is_priced_by(proposed.tables, QuoteRequest.model_validate_json(requests[quote.number]).prescription),
        )
        for quote in quotes
    ]


def _chosen(choice: ImpactChoice, *, now: datetime, resources: Resources) -> list[StoredQuote]:
    """The quotes that were named, or the newest of the chosen ones; raises `RequestUnanswerable` naming each that is not open."""
    today = now.date()
    store = ImpactStore(resources.database)
    if choice.quotes is None:
        return store.chosen(choice, today=today)
    known = store.named(choice.quotes)
    faults = [
        ProblemDetail(pointer=f"/quotes/{place}", reason=why, figure=number, limit="open quotes", remedy="leave it out")
        for place, number in enumerate(choice.quotes)
        if (why := _why_not_open(known.get(number), refused=choice.refused, today=today))
    ]
    if faults:
        raise RequestUnanswerable(faults)
    return [known[number] for number in choice.quotes]


def _why_not_open(row: StoredQuote | None, *, refused: bool, today: date) -> str | None:
    if row is None:
        return "there is no such quote"
    if row.status == "accepted":
        return "the quote is still being worked on"
    stands = state_of(row, today=today) or row.status
    return None if stands == "open" or (refused and stands == "refused") else f"the quote is {stands}"


def at_other_rates(number: str, sections: Mapping[str, bytes], resources: Resources) -> Outcome:
    """What a quote comes to at the rates of the traveller `number`, with the prices as issued beside it.

    Nothing is worked out of a quote that is unread: its prices are today's, and a quote that was refused stays so.
    """
    found = ImpactStore(resources.database).issued(number)
    job = read_section("job", sections["job"])
    status, body, refusal = found or ("ready", None, None)
    issued = None if body is None else prices_as_issued(body)
    if "check" not in sections and refusal is not None:
        return Outcome(status, digest_of(refusal), problem=refusal)
    rated = None
    if "check" in sections:
        read = parsed(sections, "blanks", "operations")
        rated = prices_of(
            job=job,
            **read,
            rates=resources.rates.revision(job.rate_revision).rates,
            kept={} if issued is None else {one.quantity: one.total_price for one in issued.breaks},
            load=pinned_snapshot(resources.load, job.load_snapshot),
        )
    figures = canonical_json(SideFigures(issued=None if number.endswith(AT_TODAY) else issued, rated=rated))
    return Outcome("ready", digest_of(figures), body=figures)


IMPACTS = RunKind(IMPACT_RUNS, conclude=at_other_rates)
"""Quotes held against proposed rates."""


def impact_document(number: str, *, first: int, most: int, next_cursor: Callable[[int], str], resources: Resources) -> RateImpact:
    """How far an impact is, all its quotes together, and `most` of them from place `first` on; raises `ImpactUnknown`."""
    store = ImpactStore(resources.database)
    head, rows = store.impact(number), store.quotes(number)
    items = [_item(row, head) for row in rows]
    outcomes = [item.outcome for item in items]
    following = first + most
    return RateImpact(
        number=number,
        status="working" if head.in_work else "done",
        tables=head.tables,
        draft=head.draft,
        proposal=head.proposal,
        proposal_digest=head.proposal_digest,
        base_revision=head.base_revision,
        created_at=head.created_at,
        asked_by=head.asked_by,
        quotes=head.size,
        worked_out=head.size - outcomes.count("working"),
        counts={
            "in_work": outcomes.count("working"),
            "ready": outcomes.count("ready"),
            "refused": outcomes.count("refused"),
            "failed": outcomes.count("failed"),
            "cancelled": outcomes.count("cancelled"),
        },
        totals=totals_of(items),
        by_customer=by_customer(items),
        items=tuple(items[first:following]),
        next=next_cursor(following) if following < len(items) else None,
    )


def _item(row: StoredImpactedQuote, head: StoredImpact) -> ImpactedQuote:
    today_as_issued = row.today_status is None
    today = _outcome(row.issued_status if row.today_status is None else row.today_status)
    with_draft = today if row.unread and row.status == "ready" else _outcome(row.status)
    in_work = "working" in (today, with_draft)
    outcome: ImpactOutcome = "working" if in_work and "cancelled" not in (today, with_draft) else with_draft
    problem = row.problem or (row.today_problem if row.unread else None)
    return ImpactedQuote(
        place=row.place,
        number=row.quote_number,
        revision=row.revision,
        customer=row.customer,
        title=row.title,
        issued_at=row.rate_revision,
        today_as_issued=today_as_issued,
        unread=row.unread,
        outcome=outcome,
        today=today,
        newly_refused=today == "ready" and outcome == "refused",
        newly_quotable=today == "refused" and outcome == "ready",
        figures=None if outcome != "ready" else figures_of(_rated(row)),
        problem=Problem.model_validate_json(problem) if problem else None,
    )


def _outcome(status: str) -> ImpactOutcome:
    return cast(ImpactOutcome, "working" if status == "accepted" else status)


def _rated(row: StoredImpactedQuote) -> Rated:
    """The three prices of a quote, out of what its two travellers noted."""
    with_draft = SideFigures.model_validate_json(row.figures) if row.figures else SideFigures()
    at_today = SideFigures.model_validate_json(row.today_figures) if row.today_figures else SideFigures()
    issued: RatedQuote | None = with_draft.issued
    today = issued if row.today_status is None else at_today.rated
    return Rated(issued=issued, today=today, draft=today if row.unread else with_draft.rated)
