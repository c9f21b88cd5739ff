"""Offers through the routes, on a real PostgreSQL and a mail server of the test: sent once, kept byte for byte, refused where they must not go out."""

from __future__ import annotations

import re
import socket
import threading
from collections.abc import Iterator
from datetime import timedelta
from email import message_from_bytes
from email.policy import default
from hashlib import sha256
from io import BytesIO
from typing import Any

import pypdf
import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from services.chassis.database import Database
from services.quoting.store.offers import OfferStore
from shared_schemas.rates import Rates
from tests.integration.test_quoting_approvals import approve, override, strict
from tests.integration.test_quoting_letterhead import SELLER
from tests.integration.test_quoting_life_routes import NOON, Shop, request_of_two

__all__ = ["request_of_two"]

ORIGIN = "https://quotes.example.com"
TO = {"to": ["purchasing@vinterholm.example"], "cc": ["holm@vinterholm.example"]}
BY_FILE = {**TO, "send": "file"}


class MailServer(threading.Thread):
    """As much of SMTP (RFC 5321; from memory) as a client needs; what it took stands in `mails`. It refuses what `refuses` says."""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.mails: list[tuple[str, list[str], bytes]] = []
        self.refuses = b""
        self.listening = socket.create_server(("127.0.0.1", 0))
        self.port = self.listening.getsockname()[1]
        self.start()

    def run(self) -> None:
        while True:
            try:
                connection, _ = self.listening.accept()
            except OSError:
                return
            with connection, connection.makefile("rwb") as lines:
                self.serve(lines)

    def serve(self, lines: Any) -> None:
        def say(line: bytes) -> None:
            lines.write(line + b"\r\n")
            lines.flush()

        sender, recipients = "", []
        say(b"220 here")
        while line := lines.readline():
            word = line[:4].upper()
            if self.refuses and word == self.refuses:
                say(b"451 no room in the yard")
            elif word == b"DATA":
                say(b"354 go on")
                content = b"".join(iter(lines.readline, b".\r\n"))
                self.mails.append((sender, recipients, re.sub(rb"(?m)^\.\.", b".", content)))
                say(b"250 taken")
            else:
                found = re.search(rb"<([^>]*)>", line)
                if word == b"MAIL" and found:
                    sender, recipients = found[1].decode(), []
                if word == b"RCPT" and found:
                    recipients.append(found[1].decode())
                say(b"221 bye" if word == b"QUIT" else b"250 fine")


@pytest.fixture(scope="module")
def mail_server() -> Iterator[MailServer]:
    made = MailServer()
    yield made
    made.listening.close()


@pytest.fixture
def shop(database: Database, rates: Rates, mail_server: MailServer) -> Shop:
    mail_server.mails.clear()
    mail_server.refuses = b""
    made = Shop(database, rates)
    sending = {"smtp_host": "127.0.0.1", "smtp_port": mail_server.port, "smtp_security": "none", "public_url": ORIGIN}
    set_up(made, **sending)
    assert (
        made.ask("PUT", "/v1/letterhead", role="admin", json={**SELLER, "email": "sales@halden-marsh.example"}).status_code == 200
    )
    return made


def set_up(shop: Shop, **changes: Any) -> None:
    object.__setattr__(shop.bench, "settings", shop.bench.settings.model_copy(update=changes))


@pytest.fixture
def number(shop: Shop, request_of_two: dict[str, Any]) -> str:
    return shop.quoted({**request_of_two, "customer": "Vinterholm\u00e9 Ice Survey"})


def send(shop: Shop, number: str, said: dict[str, Any] = TO, **headers: str) -> Any:
    return shop.ask("POST", f"/v1/quotes/{number}/offers", json=said, headers=headers)


def test_an_offer_is_mailed_once_and_kept_as_it_went_out(
    shop: Shop, number: str, mail_server: MailServer, database: Database
) -> None:
    said = {**TO, "language": "de", "paper": "letter", "message": "Sehr geehrte Frau Holm,\n\nwie besprochen.\n.\nGruß"}
    sent = send(shop, number, said, **{"Idempotency-Key": "k1"})
    assert sent.status_code == 201, sent.text
    offer = sent.json()
    assert sent.headers["Location"] == f"/v1/offers/{offer['id']}"
    assert send(shop, number, said, **{"Idempotency-Key": "k1"}).json() == offer
    assert send(shop, number, TO, **{"Idempotency-Key": "k1"}).status_code == 422
    store, handed = OfferStore(database), []
    assert store.send_once(store.offer(offer["id"]), lambda: handed.append(1), NOON).sent_at is not None
    assert handed == [], "whoever waited for the row finds it sent"
    ((sender, recipients, on_the_wire),) = mail_server.mails
    assert (sender, recipients) == ("sales@halden-marsh.example", ["purchasing@vinterholm.example", "holm@vinterholm.example"])

    place = f"/v1/offers/{offer['id']}"
    mail = shop.ask("GET", place, headers={"Accept": "message/rfc822"})
    assert mail.content == on_the_wire
    assert sha256(mail.content).hexdigest() == offer["mail_sha256"]
    read = message_from_bytes(mail.content, policy=default)
    assert read["From"].addresses[0].display_name == SELLER["name"]
    assert [str(one) for one in read["To"].addresses] == TO["to"]
    assert [str(one) for one in read["Cc"].addresses] == TO["cc"]
    assert read["Subject"].startswith(f"Angebot {number}, Revision 1: ")
    assert offer["id"] in read["Message-ID"]
    body = read.get_body(("plain",))
    assert body is not None
    written = body.get_content()
    assert written.startswith(said["message"].split("\n", maxsplit=1)[0])
    (link,) = re.findall(rf"{ORIGIN}/offers/([\w-]{{32}})\s", written)
    (attached,) = read.iter_attachments()
    assert (attached.get_content_type(), attached.get_filename()) == ("application/pdf", f"Angebot-{number}-Revision-1.pdf")
    pdf = shop.ask("GET", place, headers={"Accept": "application/pdf"})
    assert attached.get_content() == pdf.content
    assert sha256(pdf.content).hexdigest() == offer["pdf_sha256"]
    on_paper = "".join(page.extract_text() for page in pypdf.PdfReader(BytesIO(pdf.content)).pages)
    assert f"{ORIGIN}/offers/{link}" in on_paper.replace("\n", "")

    assert shop.get(f"/v1/quotes/{number}/offers")["items"] == [offer]
    assert shop.get(place) == offer
    (entry,) = shop.get("/v1/audit?action=quote.send", role="admin")["items"]
    assert entry["details"]["to"] == "purchasing@vinterholm.example"
    with database.transaction() as connection:
        kept = connection.execute(text("select code_sha256, sent_at from quoting.offers")).one()
        assert bytes(kept.code_sha256) == sha256(link.encode()).digest()
    for statement in (
        "update quoting.offers set pdf = 'x'",
        "update quoting.offers set sent_at = now()",
        "delete from quoting.offers",
    ):
        with pytest.raises(DBAPIError, match="never"), database.transaction() as connection:
            connection.execute(text(statement))


def test_a_mail_that_is_not_taken_is_kept_and_sent_by_the_same_request_later(
    shop: Shop, number: str, mail_server: MailServer
) -> None:
    mail_server.refuses = b"RCPT"
    failed = send(shop, number, **{"Idempotency-Key": "k2"})
    assert failed.status_code == 503
    assert failed.headers["Retry-After"] == "60"
    assert "it takes none of" in failed.json()["detail"]
    set_up(shop, smtp_security="starttls")
    in_the_clear = send(shop, number, **{"Idempotency-Key": "k2"})
    assert in_the_clear.status_code == 503
    assert "STARTTLS" in in_the_clear.json()["detail"], "nothing goes out unprotected where protection is asked for"
    set_up(shop, smtp_security="none")
    (waiting,) = shop.get(f"/v1/quotes/{number}/offers")["items"]
    assert waiting["sent_at"] is None
    mail_server.refuses = b""
    sent = send(shop, number, **{"Idempotency-Key": "k2"}).json()
    assert sent["sent_at"] is not None
    assert {**sent, "sent_at": None} == waiting
    assert len(mail_server.mails) == 1


def test_without_a_mail_server_it_is_made_as_a_file_and_said_so(shop: Shop, number: str, mail_server: MailServer) -> None:
    set_up(shop, smtp_host="", public_url="")
    refused = send(shop, number)
    assert refused.status_code == 409
    assert "BLANKWRIGHT_SMTP_HOST" in refused.json()["detail"]
    assert shop.get(f"/v1/quotes/{number}/offers")["items"] == []
    offer = send(shop, number, BY_FILE).json()
    assert offer["sent_at"] == offer["made_at"]
    mail = shop.ask("GET", f"/v1/offers/{offer['id']}", headers={"Accept": "message/rfc822"}).content
    body = message_from_bytes(mail, policy=default).get_body(("plain",))
    assert body is not None
    assert "Please find attached our quotation" in body.get_content()
    assert "/offers/" not in body.get_content(), "there is no address that customers could come to"
    assert mail_server.mails == []


def test_what_no_customer_is_to_read_is_not_sent(shop: Shop, number: str, request_of_two: dict[str, Any]) -> None:
    def why(at: str, said: dict[str, Any] = BY_FILE) -> tuple[int, str]:
        answer = send(shop, at, said)
        return answer.status_code, answer.json()["detail"]

    assert why("Q-2026-999999")[0] == 404
    thin = {
        **request_of_two["prescription"],
        "elements": [{**request_of_two["prescription"]["elements"][0], "centre_thickness_mm": 0.05}],
    }
    refused = shop.quoted({**request_of_two, "prescription": {**thin, "spaces": []}})
    assert why(refused)[0] == 404
    assert "it is refused" in why(refused)[1]
    shop.ask("POST", f"/v1/quotes/{number}/requote", json={"changes": {"quantities": [7]}})
    shop.work()
    assert why(number, {**BY_FILE, "revision": 1}) == (
        409,
        f"The offer of revision 1 of quote {number} is not sent: revision 2 is the latest; send that.",
    )
    shop.now = NOON + timedelta(days=400)
    assert "it was valid until" in why(number)[1]
    shop.now = NOON
    shop.ask("POST", f"/v1/quotes/{number}/decision", json={"decision": "declined", "by": "Ms Holm"})
    assert why(number)[1].endswith("is not sent: it was declined.")


def test_without_a_seller_nothing_goes_out(database: Database, rates: Rates, request_of_two: dict[str, Any]) -> None:
    shop = Shop(database, rates)
    number = shop.quoted(request_of_two)
    assert send(shop, number, BY_FILE).status_code == 409
    shop.ask("PUT", "/v1/letterhead", role="admin", json=SELLER)
    nameless = send(shop, number, BY_FILE)
    assert nameless.status_code == 409, "its mail would come from nowhere"
    assert "email" in nameless.json()["detail"]


UNREADABLE = (
    ({"to": ["a@b.example\r\nBcc: c@d.example"]}, "/to/0"),
    ({"to": ["a@b.example, c@d.example"]}, "/to/0"),
    ({"to": ["Holm <a@b.example>"]}, "/to/0"),
    ({"to": []}, "/to"),
    ({"to": ["a@b.example"], "cc": ["nobody"]}, "/cc/0"),
    ({"to": ["a@b.example"], "message": "x\x00y"}, "/message"),
    ({"to": ["a@b.example"], "language": "tlh"}, "/language"),
)


def test_an_address_or_a_text_that_could_be_more_than_one_is_refused_at_its_place(shop: Shop, number: str) -> None:
    for said, pointer in UNREADABLE:
        answer = send(shop, number, said)
        assert answer.status_code == 422, said
        assert answer.json()["errors"][0]["pointer"] == pointer
    assert shop.get(f"/v1/quotes/{number}/offers")["items"] == []


def test_what_waits_for_a_second_key_does_not_go_out_before_it_has_one(
    database: Database, rates: Rates, request_of_two: dict[str, Any]
) -> None:
    shop = Shop(database, strict(rates))
    shop.ask("PUT", "/v1/letterhead", role="admin", json={**SELLER, "email": "sales@halden-marsh.example"})
    number = shop.quoted({**request_of_two, "quantities": [5]})
    override(shop, number, role="sales")
    waiting = send(shop, number, BY_FILE)
    assert waiting.status_code == 409
    assert "approve" in waiting.json()["detail"]
    assert approve(shop, number)[0] == 200
    assert send(shop, number, BY_FILE).status_code == 201


def test_a_title_with_whatever_it_has_stays_one_line_of_the_head(shop: Shop, request_of_two: dict[str, Any]) -> None:
    title = "Linse\u2028Bcc: x@y.example é " + "lang " * 60
    lens = {**request_of_two["prescription"], "title": title.strip()[:200]}
    offer = send(shop, shop.quoted({**request_of_two, "prescription": lens}), BY_FILE).json()
    mail = shop.ask("GET", f"/v1/offers/{offer['id']}", headers={"Accept": "message/rfc822"}).content
    read = message_from_bytes(mail, policy=default)
    assert read["Bcc"] is None
    assert "Bcc: x@y.example é lang" in " ".join(read["Subject"].split()), "a long head is folded between words"
    assert max(map(len, mail.split(b"\r\n\r\n", 1)[0].splitlines())) <= 998
