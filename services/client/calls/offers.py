"""Calls about offers: what the customer reads of a quote, on whose paper."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Literal

from services.client.call import Call, document, step, tagged

if TYPE_CHECKING:
    from shared_schemas.letterhead import KeptLetterhead, Letterhead

Form = Literal["html", "pdf"]
Paper = Literal["a4", "letter"]
MEDIA_TYPES: dict[Form, str] = {"html": "text/html", "pdf": "application/pdf"}


def sheet(
    number: str, revision: int | None = None, *, form: Form = "html", language: str | None = None, paper: Paper | None = None
) -> Call[bytes]:
    """The customer's offer of a ready quote, as a page of HTML (UTF-8) or a PDF, complete in itself."""
    query = {"revision": revision, "language": language, "paper": paper}
    return document(MEDIA_TYPES[form], f"/v1/quotes/{step(number)}/sheet", query)


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
