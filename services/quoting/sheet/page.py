"""The page as a whole: what it is, for whom and until when on top; in the foot, what it can be checked against."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from services.chassis.pages import page_templates
from services.quoting.sheet.lens import lens
from services.quoting.sheet.prices import prices
from services.quoting.sheet.remarks import remarks
from shared_schemas.quote import QuoteBody, QuoteDecision, QuoteState


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
        ("Date", body.quoted_on),
        ("Valid until", body.valid_until),
        ("For", head.customer),
        ("Quantities", ", ".join(f"{price_break.quantity:,}" for price_break in body.breaks)),
    )
    page = page_templates("services.quoting.sheet").get_template("page.html")
    return page.render(
        head=head,
        body=body,
        notice=" ".join(_notice(head, body)),
        known=known,
        lens=lens(body),
        prices=prices(body),
        remarks=remarks(body),
    )


def _notice(head: Head, body: QuoteBody) -> Iterator[str]:
    """What whoever is about to send this sheet must know: it is not the latest, no longer valid, or decided."""
    if head.latest_revision > head.revision:
        yield f"Revision {head.latest_revision} is the latest; this one is kept as it was."
    if head.decision is not None:
        ordered = f" for {head.decision.quantity:,}" if head.decision.quantity is not None else ""
        yield f"{head.decision.decision.capitalize()}{ordered} on {head.decision.at:%Y-%m-%d}, as {head.decision.by} said."
    elif head.state == "expired":
        yield f"Expired: it was valid until {body.valid_until}."
