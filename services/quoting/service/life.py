"""What becomes of a quote once it is issued: it is compared with another revision, accepted or declined, or it expires."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from services.chassis.between_services import ring
from services.chassis.pipeline import write_section
from services.chassis.rate_source import RevisionOutgrown
from services.chassis.resources import Resources
from services.quoting.errors import (
    DecisionStands,
    NothingToChange,
    QuantityNotQuoted,
    QuoteExpired,
    QuoteNotIssued,
    RevisionUnknown,
)
from services.quoting.pricing.split import deliveries_of
from services.quoting.service.approvals import refuse_unapproved
from services.quoting.service.booking import booking_of
from services.quoting.service.comparison import Issued, compare
from services.quoting.service.documents import decision_document, explanation_document, not_ready, state_of
from services.quoting.service.order_events import take_in
from services.quoting.service.promise import refuse_days_gone
from services.quoting.store.life import LifeStore
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import TERMS, Decision, StoredQuote
from shared_schemas.lead_times import Delivery, PromisedAtAcceptance
from shared_schemas.pipeline import TAKE_OVER_TASK
from shared_schemas.quote import QuoteBody, QuoteDecision
from shared_schemas.quote_life import Comparison, DecisionRequest
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates


def decide(number: str, asked: DecisionRequest, *, key_id: str, now: datetime, resources: Resources) -> QuoteDecision:
    """Record what the customer decided on a revision, once; the same decision told again gets the same answer.

    With an acceptance the date is worked out again, and the order is handed over to orders; a change of an order takes its place.
    Raises `QuoteUnknown`, `RevisionUnknown`, `DecisionStands` for another decision than the one that stands,
    `QuoteNotIssued`, `OverrideBaseMoved`, `SecondKeyNeeded`, `QuoteExpired`, `QuantityNotQuoted`, `NothingToChange`, `OrderOver`.
    """
    row = QuoteStore(resources.database).quote(number, asked.revision)
    wanted = Decision(
        asked.decision, asked.quantity, asked.by, asked.note, key_id, now,
        late=asked.decision == "accepted" and state_of(row, today=now.date()) == "expired", **asked.model_dump(include=set(TERMS)),
    )  # fmt: skip
    stands = row.decision
    if stands is None:
        _refuse_undecidable(row, wanted, confirmed=asked.confirm_expired, resources=resources)
        wanted = _with_contact(wanted, row)
        refuse_days_gone(asked.deliveries, now.date())
        stands = _recorded(row, wanted, asked.deliveries or _deliveries_asked(row, wanted), resources)
    if not (stands.says_the_same_as(wanted) and _has_deliveries(stands, asked.deliveries)):
        raise DecisionStands(number, row.revision, _in_words(stands))
    return decision_document(row, stands)


def _has_deliveries(stands: Decision, said: Sequence[Delivery]) -> bool:
    """Whether a decision has the parts that are said of it; none need be said again."""
    known = () if stands.promised is None else PromisedAtAcceptance.model_validate_json(stands.promised).deliveries
    return not said or [(one.quantity, one.by) for one in said] == [(one.quantity, one.by) for one in known]


def _recorded(row: StoredQuote, wanted: Decision, deliveries: Sequence[Delivery], resources: Resources) -> Decision:
    """Record a decision unless there is one: the decision that stands. An order is handed over with its acceptance or not at all."""
    life, before = LifeStore(resources.database), None
    if wanted.decision != "accepted" or wanted.quantity is None:
        return life.decide(row.number, wanted)
    if wanted.changes_order is not None:
        # An order that has ended is not changed: what was not heard of it yet is heard now.
        take_in(resources)
        before = _ordered(row, wanted.changes_order, resources)
    booking = booking_of(row, wanted.quantity, at=wanted.at, resources=resources, before=before, deliveries=deliveries)
    change = None if booking.change is None else write_section(booking.change)
    accepted = replace(wanted, promised=write_section(booking.promised), order_change=change)
    stands = life.decide(row.number, accepted, write_section(booking.order))
    if stands == accepted:
        ring(TAKE_OVER_TASK, row.number, resources)
    return stands


def _ordered(row: StoredQuote, revision: int, resources: Resources) -> StoredQuote:
    """The earlier revision whose order is to be changed; raises `NothingToChange` where it is not ordered."""
    try:
        before = QuoteStore(resources.database).quote(row.quote_number, revision)
    except RevisionUnknown as fault:
        raise NothingToChange(row.quote_number, revision, None) from fault
    if before.decision is None or before.decision.decision != "accepted" or revision >= row.revision:
        raise NothingToChange(row.quote_number, revision, None)
    return before


def _refuse_undecidable(row: StoredQuote, wanted: Decision, *, confirmed: bool, resources: Resources) -> None:
    if row.archived_in is not None:
        raise not_ready(row)
    if row.status != "ready" or row.body is None:
        status = "still being worked on" if row.status == "accepted" else row.status
        raise QuoteNotIssued(row.quote_number, row.revision, status)
    if wanted.decision == "accepted":
        refuse_unapproved(row, resources)
    if wanted.late and not confirmed and row.valid_until is not None:
        raise QuoteExpired(row.quote_number, row.revision, row.valid_until)
    quoted = [price_break["quantity"] for price_break in json.loads(row.body)["breaks"]]
    if wanted.quantity is not None and wanted.quantity not in quoted:
        raise QuantityNotQuoted(row.quote_number, wanted.quantity, quoted)


def _deliveries_asked(row: StoredQuote, wanted: Decision) -> tuple[Delivery, ...]:
    """The deliveries of the request, where they are parts of the quantity that is ordered and the acceptance says none."""
    if wanted.decision != "accepted" or wanted.quantity is None:
        return ()
    order = json.loads(row.body or b"{}").get("order") or {}
    return deliveries_of([Delivery.model_validate(one) for one in order.get("deliveries", ())], wanted.quantity)


def _with_contact(decision: Decision, row: StoredQuote) -> Decision:
    """An acceptance that names nobody is by whom the request names."""
    if decision.decision != "accepted" or decision.contact:
        return decision
    contact = (json.loads(row.body or b"{}").get("order") or {}).get("contact")
    return replace(decision, contact=contact) if contact else decision


def _in_words(decision: Decision) -> str:
    quantity = f" for {decision.quantity}" if decision.quantity is not None else ""
    note = f" with the note {decision.note!r}" if decision.note else ""
    return f"{decision.decision}{quantity} by {decision.decided_by} on {decision.at:%Y-%m-%d}{note}"


def compare_revisions(number: str, *, with_revision: int, revision: int | None, resources: Resources) -> Comparison:
    """What changed from `with_revision` to `revision` (the latest without it); raises `QuoteUnknown`, `RevisionUnknown`, `QuoteNotReady`."""
    store = QuoteStore(resources.database)
    old, new = store.quote(number, with_revision), store.quote(number, revision)
    for row in (old, new):
        if row.body is None:
            raise not_ready(row)
    # Two revisions at the same rates rest on the same rows.
    need_rows = old.rate_revision != new.rate_revision
    return compare(
        number=number, old=_issued(old, resources, with_rows=need_rows), new=_issued(new, resources, with_rows=need_rows)
    )


def _issued(row: StoredQuote, resources: Resources, *, with_rows: bool) -> Issued:
    assert row.body is not None
    assert row.digest is not None
    rows: set[tuple[str, str]] = set()
    if with_rows:
        rows.update(rows_named(json.loads(row.body)))
        rows.update(rows_named(explanation_document(row, resources).model_dump(mode="json")))
    return Issued(
        revision=row.revision,
        request=QuoteRequest.model_validate_json(LifeStore(resources.database).request_of(row.number)),
        body=QuoteBody.model_validate_json(row.body),
        digest=row.digest,
        rates=_rates_of(row, resources),
        rows=rows,
    )


def _rates_of(row: StoredQuote, resources: Resources) -> Rates | None:
    try:
        return resources.rates.revision(row.rate_revision).rates
    except RevisionOutgrown:
        return None


def rows_named(document: Any) -> Iterator[tuple[str, str]]:
    """Table and row of every rate row that figures in a document name."""
    if isinstance(document, dict):
        ref = document.get("rate_row")
        if isinstance(ref, dict):
            yield ref["table"], ref["row"]
        for inner in document.values():
            yield from rows_named(inner)
    elif isinstance(document, list):
        for inner in document:
            yield from rows_named(inner)
