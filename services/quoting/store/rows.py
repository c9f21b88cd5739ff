"""What lies in the tables of quoting, as values."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from services.chassis.packing import unpack
from shared_schemas.quote import QuoteDecision

NUMBER = re.compile(r"Q-\d{4}-\d{6,12}", re.ASCII)
"""What people call a quote: year and position."""

ROW_NUMBER = re.compile(NUMBER.pattern + r"(\.[1-9]\d{0,5})?", re.ASCII)
"""What a row, its traveller and its estimate are called: the number, and from the second revision on that too."""


def quote_number_of(row_number: str) -> str:
    """What people call the quote of a row."""
    return row_number.partition(".")[0]


@dataclass(frozen=True)
class NewQuote:
    """A request about to be accepted."""

    request: bytes
    customer: str
    title: str
    rate_revision: int
    quoted_on: date
    trace: str
    load_snapshot: int | None = None
    caller: str = ""
    """The id of the key that asked: each key has its share of the work."""
    work_s: float = 1.0
    """Seconds of one processor that it will take, estimated."""
    large: bool = False
    """Whether it goes through the queue of much work."""
    reference: str = ""
    """What the customer calls the request."""


@dataclass(frozen=True)
class IdempotencyKey:
    """A caller's own name for a request, with the SHA-256 of its body."""

    caller: str
    route: str
    key: str
    body_sha256: bytes


@dataclass(frozen=True)
class Start:
    """A traveller to be started: all that is needed to make its head and to ring the first doorbell."""

    number: str
    attempt: int
    request: bytes
    rate_revision: int
    quoted_on: date
    trace: str
    quote_number: str
    revision: int
    load_snapshot: int | None = None
    large: bool = False
    waits: bool = False
    """Whether its turn has not come."""
    prices_only: bool = False
    """Whether nothing but prices and days is wanted of it."""
    concludes_at_once: bool = False
    """Whether no stage before the last has anything to work out."""


@dataclass(frozen=True)
class Outcome:
    """What became of an attempt. `body` for a ready quote, `problem` for any other; `digest` of whichever it is.

    `blanks` and `operations` are the sections that the body was made of; they are kept to explain it with.
    """

    status: str
    digest: str
    body: bytes | None = None
    blanks: bytes | None = None
    operations: bytes | None = None
    problem: bytes | None = None
    valid_until: date | None = None
    rests_on: bytes | None = None
    """Of a ready quote by which rate rows its price stands."""


@dataclass(frozen=True)
class DeadLetter:
    """What is kept of a stage that broke, for an operator."""

    stage: str
    problem: bytes
    traceback: str
    versions: str


@dataclass(frozen=True)
class Decision:
    """What the customer decided on a revision, who said so with which key, and when."""

    decision: str
    quantity: int | None
    decided_by: str
    note: str
    key_id: str
    at: datetime
    promised: bytes | None = None
    """Of an acceptance the date worked out again, as a document."""
    purchase_order: str | None = None
    customer_number: str | None = None
    contact: str | None = None
    needed_by: date | None = None
    reason: str | None = None
    """Of a decline, one of a closed list."""
    late: bool = False
    """Whether it was accepted after the last day of the quote."""
    changes_order: int | None = None
    """Of an acceptance, the earlier revision whose order it takes the place of."""
    order_change: bytes | None = None
    """What that makes of price and date, as a document."""

    def says_the_same_as(self, other: Decision) -> bool:
        """Whether both are one decision, told twice perhaps; `other` may leave out the note and what the customer calls it."""
        same = (self.decision, self.quantity, self.decided_by) == (other.decision, other.quantity, other.decided_by)
        return same and other.note in ("", self.note) and all(getattr(other, name) in (None, getattr(self, name)) for name in TERMS)


TERMS = ("purchase_order", "customer_number", "contact", "needed_by", "reason", "changes_order")
"""What a decision may say beside what it is."""


@dataclass(frozen=True)
class StoredApproval:
    """Who approved a revision, with which key and when."""

    by: str
    note: str
    key_id: str
    at: datetime


@dataclass(frozen=True)
class StoredQuote:
    """A revision of a quote as it lies in the table, with its outcome and the decision on it if it has them."""

    number: str
    quote_number: str
    position: int
    revision: int
    latest_revision: int
    status: str
    customer: str
    title: str
    rate_revision: int
    load_snapshot: int | None
    attempt: int
    created_at: datetime
    finished_at: datetime | None
    digest: str | None
    body: bytes | None
    problem: bytes | None
    valid_until: date | None
    decision: Decision | None
    archived_in: str | None = None
    """The archive that has the documents of a ready quote which are here no longer."""
    reference: str = ""
    """What the customer calls the request."""
    release: str | None = None
    """The version that worked it out, where that was noted."""
    order_state: str | None = None
    """Of a quote that was ordered how that order ended, where it has."""
    approval: StoredApproval | None = None
    """The second key of a revision that needed one, where it was given."""


@dataclass(frozen=True)
class StoredBatch:
    """A batch, and how many of its quotes have which status in the table."""

    number: str
    size: int
    created_at: datetime
    counts: dict[str, int]

    @property
    def in_work(self) -> int:
        """Quotes without an outcome."""
        return self.counts.get("accepted", 0)


SELECT = """
    select q.number, q.quote_number, q.position, q.revision, q.status, q.customer, q.reference, q.title, q.rate_revision, q.load_snapshot, q.attempt, q.created_at,
           greatest(q.revision, (select max(n.revision) from quoting.quotes n
                                 where n.quote_number = q.quote_number and n.status <> 'cancelled')) as latest_revision,
           o.finished_at, o.digest, {body}, o.problem, o.valid_until, o.archived_in, o.release,
           d.decision, d.quantity, d.decided_by, d.note, d.key_id, d.at, d.promised,
           d.purchase_order, d.customer_number, d.contact, d.needed_by, d.reason, d.late, d.changes_order, d.order_change,
           case when d.decision = 'accepted' then x.state end as order_state,
           a.approved_by, a.note as approval_note, a.key_id as approval_key_id, a.at as approved_at
    from quoting.quotes q
    left join quoting.order_ends x on x.quote_number = q.quote_number
    left join quoting.outcomes o on o.number = q.number
    left join quoting.decisions d on d.number = q.number
    left join quoting.approvals a on a.number = q.number
"""
"""A row as `stored` reads it; `{body}` is `BODY`, or `NO_BODY` where it is not wanted."""

BODY = "o.body, o.packing, o.packed, o.body_bytes"
NO_BODY = "null::bytea as body, null::text as packing, null::bytea as packed, null::int as body_bytes"


def stored(row: Any) -> StoredQuote:
    """The quote of a row of `SELECT`."""
    values = dict(row._mapping)
    values["body"] = body_of(*(values.pop(name) for name in ("body", "packing", "packed", "body_bytes")))
    values["problem"] = bytes(values["problem"]) if values["problem"] is not None else None
    details = {
        name: values.pop(name)
        for name in ("quantity", "decided_by", "note", "key_id", "at", "promised", "late", "order_change", *TERMS)
    }
    if values["decision"] is not None:
        values["decision"] = decision_of({"decision": values["decision"], **details})
    by, *approval = (values.pop(name) for name in ("approved_by", "approval_note", "approval_key_id", "approved_at"))
    values["approval"] = None if by is None else StoredApproval(by, *approval)
    return StoredQuote(**values)


def body_of(body: Any, packing: str | None, packed: Any, body_bytes: int | None) -> bytes | None:
    """The body of the columns of `BODY`, out of its block or as it lay there before there were blocks."""
    if packing is not None and body_bytes is not None:
        return unpack(packing, bytes(packed), (body_bytes,))[0]
    return None if body is None else bytes(body)


def decision_of(values: Mapping[str, Any]) -> Decision:
    """The decision of the columns of its table."""
    documents = {name: None if values[name] is None else bytes(values[name]) for name in ("promised", "order_change")}
    return Decision(**{**values, **documents})


def decision_document(quote_number: str, revision: int, decision: Decision) -> QuoteDecision:
    """A decision on a revision as callers see it."""
    return QuoteDecision.model_validate(
        {
            "number": quote_number,
            "revision": revision,
            "decision": decision.decision,
            "quantity": decision.quantity,
            "by": decision.decided_by,
            "note": decision.note,
            "key_id": decision.key_id,
            "at": decision.at.astimezone(UTC),
            "promised": None if decision.promised is None else json.loads(decision.promised),
            "late": decision.late,
            "change": None if decision.order_change is None else json.loads(decision.order_change),
            **{name: getattr(decision, name) for name in TERMS},
        }
    )
