"""What a proposed rate table would do to open quotes: asked for, worked out by travellers of its own, told.

A traveller of an impact carries a quote's request and day with the number of the proposal as its rates. It goes through
the same stations as the quote did, and the last one holds what comes out against what was issued. No quote is touched.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from datetime import date, datetime
from typing import cast

from services.chassis.load_source import pinned_snapshot
from services.chassis.pipeline import read_section
from services.chassis.problems import clean
from services.chassis.resources import Resources
from services.quoting.errors import RequestUnanswerable
from services.quoting.pricing.quote import loss_chances
from services.quoting.service.documents import state_of
from services.quoting.service.impact_figures import Impacted, impact_on, totals_of
from services.quoting.service.runs import RunKind, admit, bounds_of
from services.quoting.store.impacts import IMPACT_RUNS, ImpactStore, StoredImpact, StoredImpactedQuote
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import IdempotencyKey, Outcome, StoredQuote
from services.quoting.store.runs import accepted_before, by_number
from shared_schemas.base import canonical_json
from shared_schemas.problem import Problem, ProblemDetail
from shared_schemas.quote import QuoteBody
from shared_schemas.rate_impact import ImpactChoice, ImpactedQuote, ImpactFigures, ImpactOutcome, RateImpact


def accept_impact(
    chosen: ImpactChoice, body: bytes, content_type: str, *, caller: str, label: str, idempotency_key: str | None, trace: str,
    now: datetime, resources: Resources,
) -> tuple[str, bool]:  # fmt: skip
    """Have a table kept as a proposal and begin to hold open quotes against it: the impact's number, and whether it is a new one.

    `body` are the rows as the rates service takes them. Raises `ProposalRefused` for rows that cannot be,
    `RequestUnanswerable` for quotes that are not open, `QueueFull`, `KeyHasEnough`, `IdempotencyKeyReused`.
    """
    key = _key(chosen, body, caller=caller, key=idempotency_key)
    known = accepted_before(resources.database, key, known=by_number)
    if known is not None:
        return known, False
    quotes = _chosen(chosen, now=now, resources=resources)
    asked_by = clean(f"{label[:300]} ({caller})") if label else caller
    proposal = resources.rates.propose(chosen.table, body, content_type, by=asked_by)
    number, is_new = ImpactStore(resources.database).accept(
        proposal,
        [quote.number for quote in quotes],
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


def _key(chosen: ImpactChoice, body: bytes, *, caller: str, key: str | None) -> IdempotencyKey | None:
    if key is None:
        return None
    asked = json.dumps([chosen.table, chosen.most, chosen.quotes]).encode() + b"\n" + body
    return IdempotencyKey(caller, "POST /v1/rates/impact", key, hashlib.sha256(asked).digest())


def _chosen(chosen: ImpactChoice, *, now: datetime, resources: Resources) -> list[StoredQuote]:
    """The open quotes that were named, or the newest; raises `RequestUnanswerable` naming each that is not open."""
    today = now.date()
    if chosen.quotes is None:
        store = QuoteStore(resources.database)
        return store.page(before=None, most=chosen.most, status=None, state="open", today=today)
    known = ImpactStore(resources.database).named(chosen.quotes)
    faults = [
        ProblemDetail(pointer=f"/quotes/{place}", reason=why, figure=number, limit="open quotes", remedy="leave it out")
        for place, number in enumerate(chosen.quotes)
        if (why := _why_not_open(known.get(number), today=today))
    ]
    if faults:
        raise RequestUnanswerable(faults)
    return [known[number] for number in chosen.quotes]


def _why_not_open(row: StoredQuote | None, *, today: date) -> str | None:
    if row is None:
        return "there is no such quote"
    if row.status == "accepted":
        return "the quote is still being worked on"
    stands = state_of(row, today=today) or row.status
    return None if stands == "open" else f"the quote is {stands}"


def against_issued(number: str, outcome: Outcome, sections: Mapping[str, bytes], resources: Resources) -> Outcome:
    """A ready outcome of the traveller `number`, with what it differs in from the quote as issued in the place of its body.

    `sections` are those that the outcome was made of. The outcome itself when the impact is forgotten meanwhile.
    """
    issued = ImpactStore(resources.database).issued(number)
    if issued is None or outcome.body is None:
        return outcome
    old, new = QuoteBody.model_validate_json(issued), QuoteBody.model_validate_json(outcome.body)
    job, blanks, operations = (read_section(name, sections[name]) for name in ("job", "blanks", "operations"))
    revision = resources.rates.revision(job.rate_revision)
    chances = loss_chances(
        prices={issued_break.quantity: issued_break.total_price for issued_break in old.breaks},
        job=job,
        blanks=blanks,
        operations=operations,
        rates=revision.rates,
        rate_digest=revision.digest,
        load=pinned_snapshot(resources.load, job.load_snapshot),
    )
    return Outcome("ready", outcome.digest, body=canonical_json(impact_on(old, new, loss_chances=chances)))


IMPACTS = RunKind(IMPACT_RUNS, conclude=against_issued)
"""Quotes held against proposed rates."""


def impact_document(number: str, *, first: int, most: int, next_cursor: Callable[[int], str], resources: Resources) -> RateImpact:
    """How far an impact is, all its quotes together, and `most` of them from place `first` on; raises `ImpactUnknown`."""
    store = ImpactStore(resources.database)
    head, rows = store.impact(number), store.quotes(number)
    items = [_item(row, head) for row in rows]
    ready = [Impacted(item.number, item.revision, item.figures) for item in items if item.figures is not None]
    following = first + most
    return RateImpact(
        number=number,
        status="working" if head.in_work else "done",
        table=head.table_name,
        proposal=head.proposal,
        proposal_digest=head.proposal_digest,
        base_revision=head.base_revision,
        created_at=head.created_at,
        asked_by=head.asked_by,
        counts={
            "in_work": head.in_work,
            "ready": head.counts.get("ready", 0),
            "refused": head.counts.get("refused", 0),
            "failed": head.counts.get("failed", 0),
            "cancelled": head.counts.get("cancelled", 0),
        },
        totals=totals_of(ready),
        items=tuple(items[first:following]),
        next=next_cursor(following) if following < len(items) else None,
    )


def _item(row: StoredImpactedQuote, head: StoredImpact) -> ImpactedQuote:
    return ImpactedQuote(
        place=row.place,
        number=row.quote_number,
        revision=row.revision,
        customer=row.customer,
        title=row.title,
        issued_at=row.rate_revision,
        issued_at_base=row.rate_revision == head.base_revision,
        outcome=cast(ImpactOutcome, "working" if row.status == "accepted" else row.status),
        figures=ImpactFigures.model_validate_json(row.figures) if row.figures else None,
        problem=Problem.model_validate_json(row.problem) if row.problem else None,
    )
