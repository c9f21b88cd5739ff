"""Calls about offers: what the customer reads of a quote, on whose paper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal

from services.client.call import Call, call, document, plain, step, tagged

if TYPE_CHECKING:
    from shared_schemas.letterhead import KeptLetterhead, Letterhead
    from shared_schemas.offers import OfferRequest, SentOffer, SentOfferList
    from shared_schemas.prescription import Prescription

Form = Literal["html", "pdf"]
Paper = Literal["a4", "letter"]
SVG = "image/svg+xml"
SENT_AS = {"pdf": "application/pdf", "mail": "message/rfc822"}
MEDIA_TYPES: dict[Form, str] = {"html": "text/html", "pdf": "application/pdf"}


def sheet(
    number: str, revision: int | None = None, *, form: Form = "html", language: str | None = None, paper: Paper | None = None
) -> Call[bytes]:
    """The customer's offer of a ready quote, as a page of HTML (UTF-8) or a PDF, complete in itself."""
    query = {"revision": revision, "language": language, "paper": paper}
    return document(MEDIA_TYPES[form], f"/v1/quotes/{step(number)}/sheet", query)


def job_sheet(
    number: str, revision: int | None = None, *, quantity: int | None = None, form: Form = "html", paper: Paper | None = None
) -> Call[bytes]:
    """The job sheet of a ready quote at one quantity, for the workshop, as a page of HTML (UTF-8) or a PDF; without a quantity the one ordered, or the middle one."""
    query = {"revision": revision, "quantity": quantity, "paper": paper}
    return document(MEDIA_TYPES[form], f"/v1/quotes/{step(number)}/job-sheet", query)


def section(prescription: Prescription, refractive_indices: Sequence[float]) -> Call[bytes]:
    """The lens in section as SVG, to scale; the indices are those of its elements, as a check report has them."""
    body = {"prescription": prescription, "refractive_indices": list(refractive_indices)}
    return replace(document(SVG, "/v1/sections", {}), method="POST", body=plain(body))


def letterhead() -> Call[tuple[KeptLetterhead, str]]:
    """What the seller's paper says on every offer, and the ETag that a change must show."""
    from shared_schemas.letterhead import KeptLetterhead

    return tagged(KeptLetterhead, "GET", "/v1/letterhead")


def put_letterhead(wanted: Letterhead | Mapping[str, Any], etag: str | None) -> Call[tuple[KeptLetterhead, str]]:
    """Put another letterhead in place of the one that `etag` names, or the first one, without; the logo stays."""
    from shared_schemas.letterhead import KeptLetterhead

    return tagged(KeptLetterhead, "PUT", "/v1/letterhead", body=wanted, headers={"If-Match": etag} if etag else {})


def put_logo(content: bytes, media_type: str, etag: str) -> Call[tuple[KeptLetterhead, str]]:
    """Put a picture, PNG or JPEG, on the letterhead that `etag` names."""
    from shared_schemas.letterhead import KeptLetterhead

    return tagged(
        KeptLetterhead, "PUT", "/v1/letterhead/logo", content=content, headers={"If-Match": etag, "Content-Type": media_type}
    )


def send_quote(number: str, asked: OfferRequest, idempotency_key: str | None = None) -> Call[SentOffer]:
    """Send the offer of a quote, or make it as a file. The same `idempotency_key` with the same request sends it once."""
    from shared_schemas.offers import SentOffer

    return call(SentOffer, "POST", f"/v1/quotes/{step(number)}/offers", body=asked, keyed=True, key=idempotency_key)


def sent_offers(number: str) -> Call[SentOfferList]:
    """Every offer of a quote that was made, newest first."""
    from shared_schemas.offers import SentOfferList

    return call(SentOfferList, "GET", f"/v1/quotes/{step(number)}/offers")


def sent_file(number: str, form: Literal["pdf", "mail"] = "pdf") -> Call[bytes]:
    """The PDF or the mail of an offer, byte for byte as it went out."""
    return document(SENT_AS[form], f"/v1/offers/{step(number)}")
