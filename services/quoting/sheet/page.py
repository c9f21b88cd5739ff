"""The page as a whole: what it is, for whom and until when on top; in the foot, what it can be checked against."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from services.chassis.pages import page_templates
from services.quoting.sheet import words
from services.quoting.sheet.date_picture import date_svg
from services.quoting.sheet.lens import lens
from services.quoting.sheet.prices import prices
from services.quoting.sheet.remarks import remarks
from shared_schemas.quote import QuoteBody, QuoteDecision, QuoteState, middle_quantity

TRIAL = "rests-on-invented-rates"
"""The finding by which a sheet is that of a trial."""


@dataclass(frozen=True)
class Head:
    """What names a quote on the day it is read, beside what was worked out."""

    number: str
    revision: int
    latest_revision: int
    customer: str
    digest: str
    state: QuoteState | None = None
    decision: QuoteDecision | None = None


def sheet_page(*, head: Head, body: QuoteBody) -> str:
    """The customer's sheet of a ready quote as one page of HTML."""
    known = (
        (words.DATE, body.quoted_on),
        (words.VALID_UNTIL, body.valid_until),
        (words.FOR, head.customer),
        *_of_the_customer(body),
        (words.QUANTITIES, ", ".join(f"{price_break.quantity:,}" for price_break in body.breaks)),
    )
    page = page_templates("services.quoting.sheet").get_template("page.html")
    return page.render(
        words=words,
        head=head,
        body=body,
        notice=" ".join(_notice(head, body)),
        known=known,
        lens=lens(body),
        prices=prices(body),
        middle=middle_quantity(price_break.quantity for price_break in body.breaks),
        date_picture=date_svg(body),
        remarks=remarks(body),
    )


def _of_the_customer(body: QuoteBody) -> Iterator[tuple[str, str]]:
    """What the customer calls the request, who asks and on which terms, where the request says so."""
    if body.order is not None:
        yield words.YOUR_REFERENCE, body.order.reference
        yield words.YOUR_CONTACT, body.order.contact
        yield words.YOUR_TERMS, body.order.purchase_terms


def _notice(head: Head, body: QuoteBody) -> Iterator[str]:
    """What whoever reads this sheet must know: it is a trial, not the latest, no longer valid, or decided."""
    if any(finding.code == TRIAL for finding in body.findings):
        yield words.TRIAL
    if head.latest_revision > head.revision:
        yield words.NOT_THE_LATEST.format(latest=head.latest_revision)
    if head.decision is not None:
        ordered = words.ORDERED.format(quantity=head.decision.quantity) if head.decision.quantity is not None else ""
        yield words.DECIDED[head.decision.decision].format(ordered=ordered, day=head.decision.at, by=head.decision.by)
    elif head.state == "expired":
        yield words.EXPIRED.format(day=body.valid_until)
