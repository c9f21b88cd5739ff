"""The offer of a ready quote: set in the customer's language, on the seller's paper."""

from __future__ import annotations

from datetime import date

from services.chassis.resources import Resources
from services.quoting.offer_errors import LanguageUnknown
from services.quoting.service.documents import decision_document, not_ready, state_of
from services.quoting.service.letterhead import paper_in_force
from services.quoting.sheet import LANGUAGES, Head, Offer, Paper, offer_of
from services.quoting.store.rows import StoredQuote
from shared_schemas.quote import QuoteBody


def head_of(row: StoredQuote, *, today: date) -> Head:
    """What names a ready quote on a day, on any sheet of it; raises `QuoteNotReady` or `QuoteArchived` for a quote without figures."""
    if row.digest is None:
        raise not_ready(row)
    return Head(
        number=row.quote_number,
        revision=row.revision,
        latest_revision=row.latest_revision,
        customer=row.customer,
        digest=row.digest,
        state=state_of(row, today=today),
        decision=decision_document(row, row.decision) if row.decision else None,
    )


def offer_document(
    row: StoredQuote, *, today: date, language: str, paper: Paper, resources: Resources, link: str = ""
) -> tuple[Offer, date]:
    """The customer's offer of a ready quote and the day it bears; raises `LanguageUnknown`, and `QuoteNotReady` or `QuoteArchived` for a quote without figures."""
    if language not in LANGUAGES:
        raise LanguageUnknown(language, LANGUAGES)
    if row.body is None:
        raise not_ready(row)
    body = QuoteBody.model_validate_json(row.body)
    sellers = paper_in_force(resources)
    offer = offer_of(
        head=head_of(row, today=today),
        body=body,
        code=language,
        paper=paper,
        link=link,
        letterhead=sellers.letterhead if sellers else None,
        logo=sellers.logo if sellers else None,
    )
    return offer, body.quoted_on
