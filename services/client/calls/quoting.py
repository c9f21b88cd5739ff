"""Calls about quotes, from the check of a lens to the customer's decision."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal

from services.client.call import Call, Query, call, nothing, step
from services.client.call import text as text_of

if TYPE_CHECKING:
    from datetime import date
    from decimal import Decimal

    from shared_schemas.blanks import BlankPlan, JointPurchases
    from shared_schemas.by_hand import BlanksByHand, BuyTogether, OperationsByHand
    from shared_schemas.check import CheckReport
    from shared_schemas.figure import PointedFigure
    from shared_schemas.operations import OperationPlan
    from shared_schemas.prescription import Prescription
    from shared_schemas.quote import Explanation, Quote, QuoteAccepted, QuoteDecision, QuoteState, QuoteStatus, UndoneDecision
    from shared_schemas.quote_life import Comparison, DecisionRequest, QuoteBatch, QuoteBatchAccepted, UndoRequest
    from shared_schemas.quote_list import FollowUp, QuotePage
    from shared_schemas.quote_request import QuoteRequest
    from shared_schemas.what_if import WhatIf, WhatIfAccepted

XML = "application/xml"
UblDocument = Literal["quotation", "order-response"]


def check(prescription: Prescription) -> Call[CheckReport]:
    """Whether a lens can be made, at once and without a quote."""
    from shared_schemas.check import CheckReport

    return call(CheckReport, "POST", "/v1/prescriptions/check", body=prescription, repeatable=True)


def request_quote(request: QuoteRequest, idempotency_key: str | None = None) -> Call[QuoteAccepted]:
    """Ask for a quote. The same `idempotency_key` with the same request gets the same quote, however often it is sent."""
    from shared_schemas.quote import QuoteAccepted

    return call(QuoteAccepted, "POST", "/v1/quotes", body=request, keyed=True, key=idempotency_key)


def requote(
    number: str, changes: Mapping[str, Any] | None = None, *, patch: Sequence[Mapping[str, Any]] = (), rate_revision: int | None = None,
    idempotency_key: str | None = None,
) -> Call[QuoteAccepted]:  # fmt: skip
    """Ask for the next revision of a quote, at the latest rates unless others are named.

    `changes` is a JSON merge patch (RFC 7396) on its request, such as `{"quantities": [10, 50]}`. `patch` are operations of a JSON Patch
    (RFC 6902) that are done after it, with elements by their names, such as
    `{"op": "replace", "path": "/elements/L2/front/form", "value": "3/2(0.5)"}`.
    """
    from shared_schemas.quote import QuoteAccepted

    body = {"changes": dict(changes or {}), "rate_revision": rate_revision} | ({"patch": list(patch)} if patch else {})
    return call(QuoteAccepted, "POST", _place(number, "/requote"), body=body, keyed=True, key=idempotency_key)


def decide(number: str, decision: DecisionRequest) -> Call[QuoteDecision]:
    """Record that the customer accepted or declined a quote. The same decision told again gets the same answer."""
    from shared_schemas.quote import QuoteDecision

    said = decision.model_dump(mode="json", exclude_defaults=True)
    return call(QuoteDecision, "POST", _place(number, "/decision"), body=said, repeatable=True)


def undo_decision(number: str, asked: UndoRequest) -> Call[UndoneDecision]:
    """Take back a decline that was recorded by mistake within the last hour; the quote is open again."""
    from shared_schemas.quote import UndoneDecision

    return call(UndoneDecision, "POST", _place(number, "/decision/undo"), body=asked)


def compare(number: str, with_revision: int, revision: int | None = None) -> Call[Comparison]:
    """What changed from `with_revision` to `revision`, the latest unless one is named."""
    from shared_schemas.quote_life import Comparison

    return call(Comparison, "GET", _place(number, "/compare"), query={"with": with_revision, "revision": revision})


def request_batch(requests: Sequence[QuoteRequest], idempotency_key: str | None = None) -> Call[QuoteBatchAccepted]:
    """Ask for up to a thousand quotes at once; all are accepted, or none is and `ServerRefused` names what is to be mended."""
    from shared_schemas.quote_life import QuoteBatchAccepted

    body = {"requests": list(requests)}
    return call(QuoteBatchAccepted, "POST", "/v1/quote-batches", body=body, keyed=True, key=idempotency_key)


def batch(number: str, cursor: str | None = None) -> Call[QuoteBatch]:
    """How far a batch is, and a page of its quotes."""
    from shared_schemas.quote_life import QuoteBatch

    return call(QuoteBatch, "GET", f"/v1/quote-batches/{step(number)}", query={"cursor": cursor})


def quote(number: str, revision: int | None = None) -> Call[Quote]:
    """A quote as it stands at this moment, in its latest revision unless one is named."""
    from shared_schemas.quote import Quote

    return call(Quote, "GET", _place(number), query={"revision": revision})


def quotes(
    cursor: str | None = None, state: QuoteState | None = None, *, text: str | None = None, customer: str | None = None,
    reference: str | None = None, status: QuoteStatus | None = None, created_from: date | None = None, created_to: date | None = None,
    valid_from: date | None = None, valid_to: date | None = None, currency: str | None = None, price_from: Decimal | None = None,
    price_to: Decimal | None = None, element: str | None = None, glass: str | None = None, by: str | None = None,
    follow_up: FollowUp | None = None, within_days: int | None = None, limit: int | None = None,
) -> Call[QuotePage]:  # fmt: skip
    """A page of quotes, newest first, of those for which all holds that is asked; `cursor` is the `next` of the page before.

    `state` is where they stand with the customer, `follow_up` what wants somebody. A price needs its `currency`.
    """
    from shared_schemas.quote_list import QuotePage

    query: Query = {
        "cursor": cursor, "state": state, "text": text, "customer": customer, "reference": reference, "status": status,
        "created_from": created_from, "created_to": created_to, "valid_from": valid_from, "valid_to": valid_to, "currency": currency,
        "price_from": price_from, "price_to": price_to, "element": element, "glass": glass, "by": by, "follow_up": follow_up,
        "within_days": within_days, "limit": limit,
    }  # fmt: skip
    return call(QuotePage, "GET", "/v1/quotes", query=query)


def explanation(number: str, revision: int | None = None) -> Call[Explanation]:
    """Why a quote costs and takes what it does: the figures of each quantity, down to formulas and rate rows."""
    from shared_schemas.quote import Explanation

    return call(Explanation, "GET", _place(number, "/explanation"), query={"revision": revision})


def figure(number: str, pointer: str, revision: int | None = None) -> Call[PointedFigure]:
    """Why one figure of a quote is what it is; `pointer` is its place in the quote, such as `/breaks/0/unit_price`."""
    from shared_schemas.figure import PointedFigure

    return call(PointedFigure, "GET", _place(number, "/explanation"), query={"revision": revision, "of": pointer})


def request_of(number: str, revision: int | None = None) -> Call[QuoteRequest]:
    """What a quote was asked as, in its latest revision unless one is named."""
    from shared_schemas.quote_request import QuoteRequest

    return call(QuoteRequest, "GET", _place(number, "/request"), query={"revision": revision})


def cancel(number: str) -> Call[None]:
    """Cancel what is under way of the quote, batch, impact or what-if of that number."""
    place = {"B": "quote-batches", "I": "rates/impact", "W": "what-ifs"}.get(number[:1], "quotes")
    return nothing("DELETE", f"/v1/{place}/{step(number)}")


def ubl(number: str, document: UblDocument = "quotation", revision: int | None = None) -> Call[str]:
    """A ready quote as a UBL 2.1 Quotation, or once it is accepted as an OrderResponse: XML to be sent to the customer."""
    return text_of(XML, _place(number, f"/ubl/{document}"), {"revision": revision})


def request_what_if(number: str, copies: Sequence[Any], idempotency_key: str | None = None) -> Call[WhatIfAccepted]:
    """Work out copies of a quote in which something is changed, at its day, rates and load. The quote stays as it is."""
    from shared_schemas.what_if import WhatIfAccepted

    return call(WhatIfAccepted, "POST", _place(number, "/what-if"), body={"copies": copies}, keyed=True, key=idempotency_key)


def what_if(number: str) -> Call[WhatIf]:
    """How far a what-if is, and each of its copies beside the quote."""
    from shared_schemas.what_if import WhatIf

    return call(WhatIf, "GET", f"/v1/what-ifs/{step(number)}")


def buy_together(wanted: BuyTogether) -> Call[JointPurchases]:
    """What the glass of several lenses costs apart and together."""
    from shared_schemas.blanks import JointPurchases

    return call(JointPurchases, "POST", "/v1/blanks/buy-together", body=wanted, repeatable=True)


def plan_blanks(wanted: BlanksByHand) -> Call[BlankPlan]:
    """Which blanks the elements of a lens are made from, at once and without a quote."""
    from shared_schemas.blanks import BlankPlan

    return call(BlankPlan, "POST", "/v1/blanks/plan", body=wanted, repeatable=True)


def plan_operations(wanted: OperationsByHand) -> Call[OperationPlan]:
    """Which operations a lens takes, at once and without a quote."""
    from shared_schemas.operations import OperationPlan

    return call(OperationPlan, "POST", "/v1/operations/plan", body=wanted, repeatable=True)


def _place(number: str, below: str = "") -> str:
    return f"/v1/quotes/{step(number)}{below}"
