"""An offer as a page of HTML that takes nothing from elsewhere, and as a file of PDF."""

from __future__ import annotations

from base64 import b64encode
from dataclasses import asdict
from datetime import date

from services.chassis.pages import page_templates
from services.chassis.typesetting import typeset
from services.quoting.sheet.offer import Offer
from services.quoting.sheet.parts import as_data

PACKAGE = "services.quoting.sheet"


def offer_page(offer: Offer) -> str:
    """One page to read, to print and to sign."""
    logo = offer.logo and f"data:{offer.logo.media_type};base64,{b64encode(offer.logo.content).decode()}"
    blocks = [(section.title, [as_data(block) for block in section.blocks]) for section in offer.sections]
    return page_templates(PACKAGE).get_template("offer.html").render(offer=offer, sections=blocks, logo=logo or "")


def offer_pdf(offer: Offer, *, on: date) -> bytes:
    """The file that is mailed out, dated by the day of the quote; the same bytes for the same offer."""
    sections = [{"title": section.title, "blocks": [as_data(block) for block in section.blocks]} for section in offer.sections]
    data = {name: value for name, value in asdict(offer).items() if name not in ("sections", "logo")}
    files = {offer.logo.file: offer.logo.content} if offer.logo else {}
    return typeset(PACKAGE, "offer.typ", {**data, "sections": sections, "logo": "".join(files)}, on=on, files=files)
