"""The offer as a whole: who offers what to whom until when, at which price on the first page, then the lens, the dates and what is to be confirmed.

All texts are in the language of whoever reads it, with its figures; a page of HTML and a file of PDF are made of the same offer.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from services.quoting.sheet import lens, prices, remarks, schedule
from services.quoting.sheet.language import Language, Paper, language
from services.quoting.sheet.parts import Facts, Section, section
from shared_schemas.letterhead import InLanguages, Letterhead
from shared_schemas.quote import QuoteBody, QuoteDecision, QuoteState

TRIAL = "rests-on-invented-rates"
"""The finding by which an offer is that of a trial."""


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


@dataclass(frozen=True)
class Logo:
    """The seller's mark: the bytes of a picture and their media type, `image/png` or `image/jpeg`."""

    content: bytes
    media_type: str

    @property
    def file(self) -> str:
        """Under which name it lies beside the page that is set."""
        return "logo.png" if self.media_type == "image/png" else "logo.jpg"


@dataclass(frozen=True)
class Seller:
    """What the seller's paper says: name, address and contact on top, tax and register in the foot."""

    name: str
    address: tuple[str, ...]
    contacts: tuple[str, ...]
    legal: tuple[str, ...]


@dataclass(frozen=True)
class Offer:
    """An offer in words. `page_of` has places for the page and how many there are; `link` is where the customer may answer, if anywhere."""

    language: str
    paper: Paper
    title: str
    heading: str
    number: str
    page_of: str
    seller: Seller | None
    notices: tuple[str, ...]
    addressee: tuple[str, ...]
    facts: Facts
    subject: str
    sections: tuple[Section, ...]
    acceptance: str
    answer: str
    link: str
    signatures: tuple[str, str]
    foot: str
    mail_text: str
    mail_answer: str
    logo: Logo | None = None

    @property
    def contacts(self) -> tuple[str, ...]:
        """How the seller is reached."""
        return self.seller.contacts if self.seller else ()


def offer_of(
    *, head: Head, body: QuoteBody, code: str = "en", paper: Paper = "a4", letterhead: Letterhead | None = None, logo: Logo | None = None, link: str = ""
) -> Offer:  # fmt: skip
    """The offer of a ready quote in a language. Raises `KeyError` for a language that has no table of words."""
    said = language(code, paper)
    words = said.words
    number = words.NUMBER.format(number=head.number, revision=head.revision)
    contact = body.order.contact if body.order else ""
    sections = (
        prices.prices(body, said), terms(body, said, letterhead), schedule.schedule(body, said), lens.lens(body, said), prices.sooner(body, said),
        prices.tools(body, said), remarks.assumed(body, said), remarks.to_look_at(body, said), remarks.relaxations(body, said), remarks.offers(body, said),
        remarks.handling(body, said),
    )  # fmt: skip
    return Offer(
        language=code,
        paper=paper,
        title=f"{words.TITLE} {number}",
        heading=words.TITLE,
        number=number,
        page_of=words.PAGE_OF,
        seller=_seller(letterhead, said) if letterhead else None,
        notices=tuple(_notices(head, body, said, has_seller=letterhead is not None)),
        addressee=tuple(line for line in (head.customer, contact) if line),
        facts=Facts(
            (
                (words.DATE, said.day(body.quoted_on)),
                (words.VALID_UNTIL, said.day(body.valid_until)),
                (words.YOUR_REFERENCE, body.order.reference if body.order else ""),
            )
        ),
        subject=body.prescription.title,
        sections=tuple(one for one in sections if one is not None),
        acceptance=words.ACCEPTANCE,
        answer=words.ACCEPT_HERE.format(day=said.day(body.valid_until)) if link else "",
        link=link,
        signatures=(words.SIGN_SHOP, words.SIGN_CUSTOMER),
        foot=words.FOOT.format(digest=head.digest),
        mail_text=words.MAIL_TEXT.format(title=body.prescription.title, number=number, day=said.day(body.valid_until)),
        mail_answer=words.MAIL_ANSWER,
        logo=logo,
    )


def _seller(letterhead: Letterhead, said: Language) -> Seller:
    words = said.words
    phone = words.PHONE.format(phone=letterhead.phone) if letterhead.phone else ""
    tax = words.TAX_ID.format(tax_id=letterhead.tax_id) if letterhead.tax_id else ""
    return Seller(
        name=letterhead.name,
        address=letterhead.address,
        contacts=tuple(line for line in (letterhead.email, phone, letterhead.web) if line),
        legal=tuple(line for line in (*letterhead.legal, tax) if line),
    )


def terms(body: QuoteBody, said: Language, letterhead: Letterhead | None) -> Section | None:
    """What is agreed besides the price: the seller's terms, the customer's own, and how long all of it holds."""
    words, paper = said.words, letterhead or Letterhead(name="-")
    holds = (
        words.VALIDITY.format(currency=body.currency, day=said.day(body.valid_until)),
        _in(paper.validity, said),
        body.currency_clause and said.in_english(body.currency_clause),
    )
    return section(
        words.TERMS,
        Facts(
            (
                (words.PAYMENT, _in(paper.payment, said)),
                (words.DELIVERY_TERMS, _in(paper.delivery, said)),
                (words.TAX, _in(paper.tax_note, said)),
                (words.VALIDITY_HEAD, " ".join(line for line in holds if line)),
                (words.YOUR_TERMS, body.order.purchase_terms if body.order else ""),
            )
        ),
    )


def _in(texts: InLanguages, said: Language) -> str:
    """A text of the seller in the language of the offer; where there is none, in English or whichever comes first."""
    own = {str(name): text for name, text in texts.items()}
    return own.get(said.code) or own.get("en") or next(iter(own.values()), "")


def _notices(head: Head, body: QuoteBody, said: Language, *, has_seller: bool) -> Iterator[str]:
    """What whoever reads this must know: nobody offers it yet, it is a trial, not the latest, no longer valid, or decided."""
    words = said.words
    if not has_seller:
        yield words.NO_SELLER
    if any(finding.code == TRIAL for finding in body.findings):
        yield words.TRIAL
    if head.latest_revision > head.revision:
        yield words.NOT_THE_LATEST.format(latest=head.latest_revision)
    decision = head.decision
    if decision is not None:
        ordered = words.ORDERED.format(quantity=said.count(decision.quantity)) if decision.quantity is not None else ""
        sentence = words.ACCEPTED if decision.decision == "accepted" else words.DECLINED
        yield sentence.format(ordered=ordered, day=said.day(decision.at.date()), by=decision.by)
    elif head.state == "expired":
        yield words.EXPIRED.format(day=said.day(body.valid_until))
