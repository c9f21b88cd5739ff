"""A customer's answer by the code of an offer: the same decision as sales records, said by whoever has the code, while the offer is open.

Whatever he cannot do is told in his language, and what he typed stands there again. An answer that stands is never changed here.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256

from pydantic import ValidationError

from services.chassis import audit
from services.chassis.resources import Resources
from services.quoting.errors import QuotingError
from services.quoting.service.documents import state_of
from services.quoting.service.letterhead import paper_in_force
from services.quoting.service.life import decide
from services.quoting.service.offers import offer_document
from services.quoting.sheet.answering import AnswerPage, Typed, page_of
from services.quoting.sheet.language import Language, Paper, language
from services.quoting.sheet.prices import offered
from services.quoting.store.offers import OfferStore, StoredOffer
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import StoredQuote
from shared_schemas.quote import QuoteBody
from shared_schemas.quote_life import DecisionRequest

log = logging.getLogger(__name__)
OK, CONFLICT, INVALID = 200, 409, 422
DECISIONS = {"order": "accepted", "decline": "declined"}


@dataclass(frozen=True)
class ByCode:
    """Who answers by the code of an offer, as the audit log names him."""

    key_id: str
    label: str


@dataclass(frozen=True)
class Shown:
    """A page, and the status that it goes with."""

    page: AnswerPage
    status: int = OK


def offer_of_code(code: str, resources: Resources) -> StoredOffer | None:
    """The offer that a code is of, if it is of any."""
    return OfferStore(resources.database).by_code(sha256(code.encode()).digest())


def offer_to_answer(sent: StoredOffer, *, now: datetime, resources: Resources) -> Shown:
    """The page of an offer as it stands now: with a form while it can be answered."""
    row, said = _read(sent, resources)
    notices = _hindrances(row, said, now)
    return Shown(_page(sent, row, said, notices, None if notices else Typed(), now, resources))


def answer_offer(sent: StoredOffer, typed: Typed, *, now: datetime, resources: Resources) -> Shown:
    """Record an answer, and the page that says so; or the page again, with what hinders it or what is to be mended."""
    row, said = _read(sent, resources)
    words = said.words
    if row.decision is not None:
        same = row.decision.key_id == _key(sent) and _says(row, typed)
        return _shown(sent, [] if same else [words.STANDS], OK if same else CONFLICT, said, now, resources)
    hindrances = _hindrances(row, said, now)
    if hindrances:
        return Shown(_page(sent, row, said, hindrances, None, now, resources), CONFLICT)
    asked = _asked(row, typed, said)
    if isinstance(asked, str):
        return Shown(_page(sent, row, said, [asked], typed, now, resources), INVALID)
    audit.asking.set(ByCode(_key(sent), f"by offer code: {asked.by}"))
    try:
        decide(row.quote_number, asked, key_id=_key(sent), now=now, resources=resources)
    except QuotingError as fault:
        log.info("an answer by code was not taken", extra={"offer": sent.id, "why": str(fault)})
        taken = QuoteStore(resources.database).quote(row.quote_number, row.revision)
        return _shown(sent, [words.STANDS if taken.decision else words.NO_ANSWER_HERE], CONFLICT, said, now, resources)
    ordered = words.THANKS_ORDERED.format(quantity=said.count(asked.quantity or 0))
    return _shown(sent, [ordered if asked.decision == "accepted" else words.THANKS_DECLINED], OK, said, now, resources)


def _read(sent: StoredOffer, resources: Resources) -> tuple[StoredQuote, Language]:
    return QuoteStore(resources.database).quote(sent.quote_number, sent.revision), language(sent.language, _paper(sent))


def _shown(sent: StoredOffer, notices: list[str], status: int, said: Language, now: datetime, resources: Resources) -> Shown:
    """The page as it stands once an answer was given, or was not taken."""
    row, _ = _read(sent, resources)
    return Shown(_page(sent, row, said, [*notices, *_hindrances(row, said, now)], None, now, resources), status)


def _hindrances(row: StoredQuote, said: Language, now: datetime) -> list[str]:
    """Why an offer cannot be answered, in the words of the customer; nothing where it can."""
    words = said.words
    if row.decision is not None:
        quantity = row.decision.quantity
        ordered = words.ORDERED.format(quantity=said.count(quantity)) if quantity is not None else ""
        sentence = words.ACCEPTED if row.decision.decision == "accepted" else words.DECLINED
        answered = sentence.format(ordered=ordered, day=said.day(row.decision.at.date()), by=row.decision.decided_by)
        return [answered, words.ENDED[row.order_state]] if row.order_state else [answered]
    if row.body is None:
        return [words.NO_ANSWER_HERE]
    if row.latest_revision > row.revision:
        return [words.SUPERSEDED]
    if state_of(row, today=now.date()) == "expired" and row.valid_until is not None:
        return [f"{words.EXPIRED.format(day=said.day(row.valid_until))} {words.EXPIRED_ASK}"]
    return []


def _page(
    sent: StoredOffer, row: StoredQuote, said: Language, notices: list[str], typed: Typed | None, now: datetime, resources: Resources
) -> AnswerPage:  # fmt: skip
    if row.body is None:
        return AnswerPage(language=said.code, title=said.words.TITLE, notices=tuple(notices))
    sellers = paper_in_force(resources)
    offer, _ = offer_document(row, today=now.date(), language=sent.language, paper=_paper(sent), resources=resources)
    body = QuoteBody.model_validate_json(row.body)
    return page_of(offer, body, said, letterhead=sellers.letterhead if sellers else None, notices=notices, typed=typed)


def _asked(row: StoredQuote, typed: Typed, said: Language) -> DecisionRequest | str:
    """The decision that was typed, or what is to be mended of it."""
    words, decision = said.words, DECISIONS.get(typed.answer)
    if decision is None:
        return str(words.NO_ANSWER_HERE)
    quoted = {str(one.quantity) for one in offered(QuoteBody.model_validate_json(row.body or b""))}
    if decision == "accepted" and typed.quantity not in quoted:
        return str(words.MEND_QUANTITY)
    if not typed.name.strip():
        return str(words.MEND_NAME)
    of_an_order = (
        {"quantity": int(typed.quantity), "purchase_order": typed.purchase_order.strip() or None} if decision == "accepted" else {}
    )
    said_by_him = {"decision": decision, "by": typed.name.strip(), "note": " ".join(typed.note.split()), "revision": row.revision}
    try:
        return DecisionRequest.model_validate({**said_by_him, **of_an_order})
    except ValidationError:
        return str(words.MEND_TEXT)


def _says(row: StoredQuote, typed: Typed) -> bool:
    """Whether the answer that stands is what is typed: a form that was sent twice."""
    stands = row.decision
    quantity = "" if stands is None or stands.quantity is None else str(stands.quantity)
    return stands is not None and DECISIONS.get(typed.answer) == stands.decision and (quantity in ("", typed.quantity))


def _key(sent: StoredOffer) -> str:
    return f"offer code {sent.id}"


def _paper(sent: StoredOffer) -> Paper:
    return "letter" if sent.paper == "letter" else "a4"
