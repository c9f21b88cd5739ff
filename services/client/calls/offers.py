"""Calls about offers: what the customer reads of a quote."""

from __future__ import annotations

from typing import Literal

from services.client.call import Call, document, step

Form = Literal["html", "pdf"]
Paper = Literal["a4", "letter"]
MEDIA_TYPES: dict[Form, str] = {"html": "text/html", "pdf": "application/pdf"}


def sheet(
    number: str, revision: int | None = None, *, form: Form = "html", language: str | None = None, paper: Paper | None = None
) -> Call[bytes]:
    """The customer's offer of a ready quote, as a page of HTML (UTF-8) or a PDF, complete in itself."""
    query = {"revision": revision, "language": language, "paper": paper}
    return document(MEDIA_TYPES[form], f"/v1/quotes/{step(number)}/sheet", query)
