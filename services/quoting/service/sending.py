"""An offer on its way: made once of a revision that may go out, kept byte for byte, handed to a mail server or left as a file."""

from __future__ import annotations

import logging
import secrets
import smtplib
import ssl
from dataclasses import dataclass
from datetime import UTC, datetime
from email.message import EmailMessage
from email.parser import BytesHeaderParser
from email.policy import SMTP
from email.utils import format_datetime, formataddr, parseaddr
from hashlib import sha256

from services.chassis.pages import printable
from services.chassis.resources import Resources
from services.chassis.settings import Settings
from services.quoting.errors import IdempotencyKeyReused
from services.quoting.offer_errors import MailNotSent, MailNotSetUp, OfferNotSendable, OfferWithoutSeller
from services.quoting.service.approvals import refuse_unapproved
from services.quoting.service.documents import not_ready, state_of
from services.quoting.service.letterhead import paper_in_force
from services.quoting.service.offers import offer_document
from services.quoting.sheet import Offer, offer_pdf
from services.quoting.store.offers import OfferStore, StoredOffer
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import StoredQuote
from shared_schemas.base import canonical_json
from shared_schemas.letterhead import Letterhead
from shared_schemas.offers import OfferRequest, SentOffer

log = logging.getLogger(__name__)

CODE_BYTES = 24
"""Of chance in the code by which a customer answers: 192 bits."""


@dataclass(frozen=True)
class Asked:
    """Who asks to send, when, and under which name of his own."""

    key_id: str
    now: datetime
    idempotency_key: str | None


def send_offer(number: str, request: OfferRequest, asked: Asked, resources: Resources) -> SentOffer:
    """Make and send the offer of a quote; the same asked again under the same Idempotency-Key sends what was made, unless it was sent.

    Raises `QuoteUnknown`, `RevisionUnknown`, `QuoteNotReady`, `QuoteArchived`, `OverrideBaseMoved`, `SecondKeyNeeded`, `OfferNotSendable`,
    `OfferWithoutSeller`, `MailNotSetUp`, `MailNotSent`, `IdempotencyKeyReused`.
    """
    store, settings = OfferStore(resources.database), resources.settings
    body = sha256(f"{number}\n".encode() + canonical_json(request)).digest()
    route_key = f"{asked.key_id} {asked.idempotency_key}" if asked.idempotency_key else None
    offer = store.asked_as(route_key) if route_key else None
    if offer is None:
        if request.send == "mail" and not settings.smtp_host:
            raise MailNotSetUp
        row = QuoteStore(resources.database).quote(number, request.revision)
        _refuse_unsendable(row, asked.now, resources)
        offer = _made(row, request, asked, route_key, body, resources)
    if offer.body_sha256 != body:
        raise IdempotencyKeyReused(asked.idempotency_key or "", offer.quote_number)
    if offer.sent_at is None:
        waiting = offer
        offer = store.send_once(waiting, lambda: hand_over(waiting, settings), asked.now)
    return sent_document(offer)


def sent_document(offer: StoredOffer) -> SentOffer:
    """An offer as callers see it."""
    return SentOffer.model_validate(
        {
            "id": offer.id, "number": offer.quote_number, "revision": offer.revision, "made_at": offer.made_at.astimezone(UTC), "made_by": offer.made_by,
            "sent_at": offer.sent_at and offer.sent_at.astimezone(UTC), "send": offer.send, "to": offer.recipients, "cc": offer.copies,
            "language": offer.language, "paper": offer.paper, "pdf_bytes": len(offer.pdf), "pdf_sha256": sha256(offer.pdf).hexdigest(),
            "mail_bytes": len(offer.mail), "mail_sha256": sha256(offer.mail).hexdigest(),
            "links": {"self": f"/v1/offers/{offer.id}", "quote": f"/v1/quotes/{offer.quote_number}?revision={offer.revision}"},
        }
    )  # fmt: skip


def hand_over(offer: StoredOffer, settings: Settings) -> None:
    """Give the mail of an offer to the mail server; raises `MailNotSetUp`, `MailNotSent`."""
    if not settings.smtp_host:
        raise MailNotSetUp
    try:
        with _server(settings) as server:
            if settings.smtp_user:
                server.login(settings.smtp_user, settings.smtp_password.get_secret_value())
            refused = server.sendmail(_sender_in(offer.mail), [*offer.recipients, *offer.copies], offer.mail)
    except smtplib.SMTPRecipientsRefused as fault:
        raise MailNotSent(offer.id, f"it takes none of {', '.join(sorted(fault.recipients))}") from fault
    except (OSError, smtplib.SMTPException) as fault:
        raise MailNotSent(offer.id, _plain(fault)) from fault
    if refused:
        # The others have it, so it counts as sent; the mail server tells the sender of these.
        log.warning("a mail server refused some of the recipients", extra={"offer": offer.id, "refused": len(refused)})


def _server(settings: Settings) -> smtplib.SMTP:
    """A connection to the mail server, whose certificate is checked where there is one."""
    place = (settings.smtp_host, settings.smtp_port)
    if settings.smtp_security == "tls":
        return smtplib.SMTP_SSL(*place, timeout=settings.smtp_timeout_s, context=ssl.create_default_context())
    server = smtplib.SMTP(*place, timeout=settings.smtp_timeout_s)
    if settings.smtp_security == "starttls":
        try:
            server.starttls(context=ssl.create_default_context())
        except (OSError, smtplib.SMTPException):
            server.close()
            raise
    return server


def _refuse_unsendable(row: StoredQuote, now: datetime, resources: Resources) -> None:
    """Raise for a revision that no customer is to read: not ready, not approved, decided, expired, or not the latest."""
    if row.body is None:
        raise not_ready(row)
    refuse_unapproved(row, resources)
    if row.latest_revision > row.revision:
        raise OfferNotSendable(row.quote_number, row.revision, f"revision {row.latest_revision} is the latest; send that")
    state = state_of(row, today=now.date())
    if state == "expired":
        raise OfferNotSendable(row.quote_number, row.revision, f"it was valid until {row.valid_until}; requote it first")
    if state != "open":
        raise OfferNotSendable(row.quote_number, row.revision, f"it was {state}")


def _made(
    row: StoredQuote, request: OfferRequest, asked: Asked, route_key: str | None, body: bytes, resources: Resources
) -> StoredOffer:
    sellers = paper_in_force(resources)
    if sellers is None:
        raise OfferWithoutSeller
    settings, store, code = resources.settings, OfferStore(resources.database), secrets.token_urlsafe(CODE_BYTES)
    link = f"{settings.public_url.rstrip('/')}/offers/{code}" if settings.public_url else ""
    offer, on = offer_document(
        row, today=asked.now.date(), language=request.language, paper=request.paper, resources=resources, link=link
    )
    pdf = offer_pdf(offer, on=on)
    name, position = store.next_id(asked.now.year)
    mail = offer_mail(name, offer, pdf, request=request, letterhead=sellers.letterhead, sender=settings.smtp_from, at=asked.now)
    made = StoredOffer(
        id=name, number=row.number, quote_number=row.quote_number, revision=row.revision, made_at=asked.now, made_by=asked.key_id,
        sent_at=asked.now if request.send == "file" else None, send=request.send, recipients=request.to, copies=request.cc,
        language=request.language, paper=request.paper, pdf=pdf, mail=mail, code_sha256=sha256(code.encode()).digest(), route_key=route_key,
        body_sha256=body,
    )  # fmt: skip
    return store.add(made, position)


def offer_mail(
    name: str, offer: Offer, pdf: bytes, *, request: OfferRequest, letterhead: Letterhead, sender: str, at: datetime
) -> bytes:
    """The mail of an offer, as it goes out: a text, and the PDF beside it. Raises `OfferWithoutSeller` where nobody sends it.

    `sender` is the address that the mail server lets us use, that of the letterhead without one; answers go to the letterhead's.
    """
    address = sender or letterhead.email
    if not address:
        raise OfferWithoutSeller
    mail = EmailMessage(policy=SMTP)
    mail["From"] = formataddr((_on_one_line(letterhead.name), address))
    mail["To"] = ", ".join(request.to)
    if request.cc:
        mail["Cc"] = ", ".join(request.cc)
    if letterhead.email and letterhead.email != address:
        mail["Reply-To"] = letterhead.email
    mail["Subject"] = _on_one_line(f"{offer.title}: {offer.subject}" if offer.subject else offer.title)
    mail["Date"] = format_datetime(at)
    mail["Message-ID"] = f"<{name}.{secrets.token_hex(8)}@{address.rpartition('@')[2]}>"
    mail["Content-Language"] = offer.language
    link = f"\n\n{offer.mail_answer}\n{offer.link}" if offer.link else ""
    signed = "\n".join((letterhead.name, *letterhead.address, *offer.contacts))
    mail.set_content(f"{request.message or offer.mail_text}{link}\n\n{signed}\n")
    file = f"{offer.title.replace(', ', '-').replace(' ', '-')}.pdf"
    mail.add_attachment(pdf, maintype="application", subtype="pdf", filename=file)
    return mail.as_bytes()


def _on_one_line(text: str) -> str:
    """A text for a header: no line of it ends."""
    return " ".join(str(printable(text)).split())


def _sender_in(mail: bytes) -> str:
    """The address after which a mail says it is from, as it was kept."""
    head = mail.split(b"\r\n\r\n", 1)[0]
    return parseaddr(str(BytesHeaderParser(policy=SMTP).parsebytes(head)["From"]))[1]


def _plain(fault: Exception) -> str:
    if isinstance(fault, smtplib.SMTPResponseException):
        said = fault.smtp_error.decode("ascii", "replace") if isinstance(fault.smtp_error, bytes) else str(fault.smtp_error)
        return f"it answers {fault.smtp_code} {' '.join(said.split())[:200]}"
    return " ".join(str(fault).split())[:200] or type(fault).__name__
