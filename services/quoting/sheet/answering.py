"""The page on which a customer answers an offer: what it is, at which prices and terms, and a form while it can be answered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from services.chassis.pages import page_templates
from services.quoting.sheet import prices
from services.quoting.sheet.language import Language
from services.quoting.sheet.offer import Offer, terms
from services.quoting.sheet.parts import Section, as_data
from services.quoting.sheet.words import TABLES
from shared_schemas.letterhead import Letterhead
from shared_schemas.quote import QuoteBody

PACKAGE = "services.quoting.sheet"


@dataclass(frozen=True)
class Typed:
    """What a customer typed, as it came."""

    answer: str = ""
    quantity: str = ""
    name: str = ""
    purchase_order: str = ""
    note: str = ""


@dataclass(frozen=True)
class Form:
    """The words of the form, the quantities that may be ordered, and what is typed already."""

    heading: str
    quantity: str
    quantities: tuple[tuple[str, str], ...]
    name: str
    purchase_order: str
    note: str
    means: str
    order: str
    decline: str
    given: Typed


@dataclass(frozen=True)
class AnswerPage:
    """The page in words. Without a form nothing can be answered."""

    language: str
    title: str
    notices: tuple[str, ...]
    seller: str = ""
    subject: str = ""
    facts: tuple[tuple[str, str], ...] = ()
    sections: tuple[Section, ...] = ()
    form: Form | None = field(default=None)


def answer_page(page: AnswerPage) -> str:
    """The page as HTML."""
    blocks = [(section.title, [as_data(block) for block in section.blocks]) for section in page.sections]
    return page_templates(PACKAGE).get_template("answer.html").render(page=page, sections=blocks)


def page_of(
    offer: Offer, body: QuoteBody, said: Language, *, letterhead: Letterhead | None, notices: Sequence[str], typed: Typed | None
) -> AnswerPage:
    """The page of an offer: with a form that has what is `typed`, or without one."""
    sections = (prices.prices(body, said), prices.tools(body, said), terms(body, said, letterhead))
    reached = (letterhead.name, *offer.contacts) if letterhead else ()
    return AnswerPage(
        language=said.code,
        title=offer.title,
        notices=tuple(notices),
        seller=" · ".join(reached),
        subject=offer.subject,
        facts=offer.facts.pairs,
        sections=tuple(one for one in sections if one is not None),
        form=None if typed is None else _form(body, said, typed),
    )


def page_without_offer(form: str, **given: int) -> AnswerPage:
    """The page where there is no offer: a sentence in every language, as nobody knows which one is read."""
    notices = tuple(getattr(table, form).format(**given) for table in TABLES.values())
    return AnswerPage(language="en", title=" · ".join(table.TITLE for table in TABLES.values()), notices=notices)


def _form(body: QuoteBody, said: Language, typed: Typed) -> Form:
    words = said.words
    quantities = tuple(
        (str(one.quantity), words.QUANTITY_OF.format(quantity=said.count(one.quantity), unit=said.money(one.unit_price), total=said.money(one.total_price), currency=body.currency))
        for one in prices.offered(body)
    )  # fmt: skip
    return Form(
        heading=words.ANSWER, quantity=words.YOUR_QUANTITY, quantities=quantities, name=words.YOUR_NAME, purchase_order=words.YOUR_ORDER,
        note=words.YOUR_NOTE, means=words.ORDER_MEANS, order=words.TO_ORDER, decline=words.TO_DECLINE, given=typed,
    )  # fmt: skip
