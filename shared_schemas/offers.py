"""Offers as they are sent to customers: what is asked, and what was sent to whom."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field

from shared_schemas.base import Contract
from shared_schemas.letterhead import MAIL_ADDRESS, SheetLanguage

MailAddress = Annotated[str, Field(max_length=254, pattern=rf"^{MAIL_ADDRESS}$")]
Message = Annotated[str, Field(max_length=4000, pattern=r"^[^\x00-\x09\x0b-\x1f\x7f]*$")]
"""Text of several lines, without other control characters."""

SheetPaper = Literal["a4", "letter"]
How = Literal["mail", "file"]


class OfferRequest(Contract):
    """Send the offer of a quote, of its latest revision unless another is named: by `mail`, or as a `file` that somebody sends by himself.

    `message` stands in the mail in place of the usual sentence.
    """

    to: Annotated[tuple[MailAddress, ...], Field(min_length=1, max_length=20)]
    cc: Annotated[tuple[MailAddress, ...], Field(max_length=20)] = ()
    language: SheetLanguage = "en"
    paper: SheetPaper = "a4"
    message: Message = ""
    send: How = "mail"
    revision: Annotated[int, Field(strict=True, ge=1)] | None = None


class SentOffer(Contract):
    """An offer that was made, byte for byte as it went out: its PDF and its mail are had at `links`.

    `sent_at` is when the mail was handed over, of a file when it was made; `None` where handing it over failed. Then the same request with the same
    Idempotency-Key tries again.
    """

    id: str
    number: str
    revision: int
    made_at: datetime
    made_by: str
    sent_at: datetime | None
    send: How
    to: tuple[str, ...]
    cc: tuple[str, ...] = ()
    language: SheetLanguage
    paper: SheetPaper
    pdf_bytes: int
    pdf_sha256: str
    mail_bytes: int
    mail_sha256: str
    links: dict[str, str]


class SentOfferList(Contract):
    """Every offer of a quote, newest first; there is one page of them."""

    items: tuple[SentOffer, ...]
    next: str | None = None


__all__ = ["MailAddress", "OfferRequest", "SentOffer", "SentOfferList", "SheetPaper"]
