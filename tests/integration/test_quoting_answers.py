"""A customer's answer by the code of an offer: recorded once, refused in clear words, and nothing that was typed is lost."""

from __future__ import annotations

import re
from datetime import timedelta
from email import message_from_bytes
from email.policy import default
from typing import Any

import html5lib
import pytest

from services.chassis.database import Database
from shared_schemas.rates import Rates
from tests.integration.test_quoting_letterhead import SELLER
from tests.integration.test_quoting_life_routes import NOON, Shop, request_of_two
from tests.integration.test_quoting_offers import ORIGIN, set_up

__all__ = ["request_of_two"]

ORDER = {"answer": "order", "quantity": "25", "name": "Astrid <Holm>", "purchase_order": "4500 / 7", "note": "by sea"}


@pytest.fixture
def shop(database: Database, rates: Rates) -> Shop:
    made = Shop(database, rates)
    set_up(made, public_url=ORIGIN)
    assert (
        made.ask("PUT", "/v1/letterhead", role="admin", json={**SELLER, "email": "sales@halden-marsh.example"}).status_code == 200
    )
    return made


@pytest.fixture
def number(shop: Shop, request_of_two: dict[str, Any]) -> str:
    return shop.quoted(request_of_two)


def code_of(shop: Shop, number: str, **said: Any) -> str:
    """The path of an offer's link, as it stands in its mail."""
    asked = {"to": ["a@b.example"], "send": "file", **said}
    offer = shop.ask("POST", f"/v1/quotes/{number}/offers", json=asked).json()
    mail = shop.ask("GET", f"/v1/offers/{offer['id']}", headers={"Accept": "message/rfc822"}).content
    body = message_from_bytes(mail, policy=default).get_body(("plain",))
    assert body is not None
    found = re.search(rf"{ORIGIN}(/offers/\S+)", body.get_content())
    assert found
    return found[1]


def page(answer: Any) -> str:
    """The text of a page that is HTML without an error, takes nothing from elsewhere and runs nothing."""
    html5lib.HTMLParser(strict=True).parse(answer.text)
    assert answer.headers["Content-Type"] == "text/html; charset=utf-8"
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "script" not in policy
    assert "<script" not in answer.text
    assert answer.headers["Cache-Control"] == "no-store"
    return " ".join(answer.text.split())


def stranger(shop: Shop, method: str, path: str, **more: Any) -> Any:
    """A request without a key."""
    return shop.ask(method, path, headers={"Authorization": ""}, **more)


def test_a_customer_sees_the_offer_and_orders_by_its_code(shop: Shop, number: str) -> None:
    path = code_of(shop, number)
    seen = page(stranger(shop, "GET", path))
    for words in (
        number,
        SELLER["name"].replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;"),
        "30 days net.",
        "Prices, in USD",
        'name="quantity" value="25"',
    ):
        assert words in seen, words
    ordered = stranger(shop, "POST", path, data=ORDER)
    assert ordered.status_code == 200, ordered.text
    assert "Your order for 25 is recorded" in page(ordered)
    quote = shop.get(f"/v1/quotes/{number}")
    assert quote["state"] == "accepted"
    decision = quote["decision"]
    assert {name: decision[name] for name in ("decision", "quantity", "by", "purchase_order", "note")} == {
        "decision": "accepted", "quantity": 25, "by": "Astrid <Holm>", "purchase_order": "4500 / 7", "note": "by sea",
    }  # fmt: skip
    assert re.fullmatch(r"offer code O-2026-\d{6}", decision["key_id"])
    (entry,) = shop.get("/v1/audit?action=quote.accept", role="admin")["items"]
    assert (entry["by"], entry["label"]) == (decision["key_id"], "by offer code: Astrid <Holm>")

    again = stranger(shop, "POST", path, data=ORDER)
    assert again.status_code == 200, "a form that is sent twice says what is recorded"
    assert "Accepted for 25" in page(again)
    other = stranger(shop, "POST", path, data={**ORDER, "answer": "decline"})
    assert other.status_code == 409
    assert "that answer stands" in page(other)
    later = page(stranger(shop, "GET", path))
    assert "Accepted for 25" in later
    assert "as Astrid &lt;Holm&gt; said" in later
    assert "<form" not in later
    assert shop.get(f"/v1/quotes/{number}")["decision"] == decision


def test_an_offer_is_declined_in_the_language_it_was_sent_in(shop: Shop, number: str) -> None:
    path = code_of(shop, number, language="de")
    assert 'lang="de"' in page(stranger(shop, "GET", path))
    declined = stranger(shop, "POST", path, data={"answer": "decline", "name": "A. Holm", "note": "zu\nspät"})
    assert "Ihre Antwort ist festgehalten" in page(declined)
    decision = shop.get(f"/v1/quotes/{number}")["decision"]
    assert (decision["decision"], decision["note"]) == ("declined", "zu spät")


TO_MEND = (
    ({"quantity": ""}, "Please choose a quantity"),
    ({"quantity": "26"}, "Please choose a quantity"),
    ({"quantity": "-5"}, "Please choose a quantity"),
    ({"name": "  "}, "Please enter your name"),
    ({"name": "x" * 201}, "Please shorten your entries"),
    ({"purchase_order": "a\x07b"}, "Please shorten your entries"),
    ({"answer": ""}, "cannot be answered here"),
)


def test_what_is_to_be_mended_is_said_and_what_was_typed_stands_there(shop: Shop, number: str) -> None:
    path = code_of(shop, number)
    for changes, said in TO_MEND:
        typed = {**ORDER, "note": "line <one>\nline two", **changes}
        answer = stranger(shop, "POST", path, data=typed)
        assert answer.status_code == 422, changes
        shown = page(answer)
        assert said in shown, changes
        assert "line &lt;one&gt; line two</textarea>" in shown
        name = typed["name"].replace("<", "&lt;").replace(">", "&gt;")
        assert f'name="name" maxlength="200" autocomplete="name" value="{name}"' in answer.text
    assert shop.get(f"/v1/quotes/{number}")["state"] == "open"


def test_after_expiry_or_a_newer_revision_nothing_is_answered(shop: Shop, number: str) -> None:
    path = code_of(shop, number)
    shop.now = NOON + timedelta(days=400)
    expired = stranger(shop, "POST", path, data=ORDER)
    assert expired.status_code == 409
    assert "Expired: it was valid until" in page(expired)
    assert "<form" not in page(stranger(shop, "GET", path))
    shop.now = NOON
    shop.ask("POST", f"/v1/quotes/{number}/requote", json={"changes": {"quantities": [7]}})
    shop.work()
    for method, status in (("GET", 200), ("POST", 409)):
        answer = stranger(shop, method, path, data=ORDER if method == "POST" else None)
        assert answer.status_code == status
        assert "A newer revision has taken the place of this offer" in page(answer)
    assert shop.get(f"/v1/quotes/{number}")["state"] == "open"


def test_what_sales_recorded_meanwhile_stands(shop: Shop, number: str) -> None:
    path = code_of(shop, number)
    shop.ask("POST", f"/v1/quotes/{number}/decision", json={"decision": "accepted", "quantity": 25, "by": "by phone"})
    same = stranger(shop, "POST", path, data=ORDER)
    assert same.status_code == 409
    assert "that answer stands" in page(same)


def test_a_code_that_nobody_has_is_told_so_and_who_tries_many_has_to_wait(shop: Shop, number: str) -> None:
    unknown = stranger(shop, "GET", "/offers/" + "A" * 32)
    assert unknown.status_code == 404
    for words in ("There is no offer at this address", "gibt es kein Angebot", "pas d’offre à cette adresse"):
        assert words in page(unknown)
    answers = [stranger(shop, "POST", f"/offers/{place:032d}", data=ORDER).status_code for place in range(12)]
    assert answers[:9] == [404] * 9
    assert answers[-1] == 429
    waiting = stranger(shop, "GET", code_of(shop, number))
    assert waiting.status_code == 429
    assert int(waiting.headers["Retry-After"]) >= 1
    assert "Too many addresses" in page(waiting)


def test_a_form_that_cannot_be_read_changes_nothing(shop: Shop, number: str) -> None:
    path = code_of(shop, number)
    for body in ({"content": b"\xff\xfe", "headers": {}}, {"data": {f"f{n}": "x" for n in range(50)}}, {"json": ORDER}):
        body.pop("headers", None)
        assert stranger(shop, "POST", path, **body).status_code == 422
    assert shop.ask("PUT", path).status_code == 405
    assert shop.get(f"/v1/quotes/{number}")["state"] == "open"
