"""Pages of the desk on the running box, as a browser without scripts uses them: forms, sessions, and what becomes of a form whose session ended."""

from __future__ import annotations

import html
import json
import re
import time
from collections.abc import Callable, Iterator

import html5lib
import httpx
import pytest

from services.chassis.one_box import Address
from services.desk.pages import visits
from services.desk.pages.session import COOKIE, IDLE_S, Seal, Session
from shared_schemas.rate_column_texts import PURPOSES

ClientOf = Callable[[str | None], httpx.Client]
TABLE = "Surface;Radius;Thickness;Glass;Diameter\n1;61,47;6,0;N-BK7;30\n2;-43,2;2,5;N-SF5;30\n3;-126,3;;;30\n10/50/200 pcs"
MARKED = "Fell <script>alert(1)</script> & Tarn"


def form_token(page: str) -> str:
    """What a form of this page carries."""
    found = re.search(r'name="form_token" value="([0-9a-f]{64})"', page)
    assert found, page
    return found[1]


def hidden(page: str) -> dict[str, str]:
    """The hidden fields of a page, as its browser sends them."""
    return {name: html.unescape(value) for name, value in re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)">', page)}


def read_strictly(answer: httpx.Response) -> str:
    """A page, held against the grammar of HTML and what every page must say in its head."""
    html5lib.HTMLParser(strict=True).parse(answer.text)
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert answer.headers["Cache-Control"] == "no-store"
    assert "<script>alert" not in answer.text
    assert not re.search(r"\son\w+=|\sstyle=", answer.text), "what the policy would not let run"
    return answer.text


@pytest.fixture(scope="module")
def browser(box: Address) -> Iterator[httpx.Client]:
    """Somebody of the sales desk, signed in."""
    with httpx.Client(base_url=box.url, timeout=60) as client:
        answer = client.post("/sign-in", data={"key": box.keys["sales"], "then": "/quotes?state=open"})
        assert answer.status_code == 303
        assert answer.headers["Location"] == "/quotes?state=open"
        yield client


@pytest.fixture(scope="module")
def token(browser: httpx.Client) -> str:
    return form_token(read_strictly(browser.get("/")))


@pytest.fixture(scope="module")
def number(browser: httpx.Client, token: str) -> str:
    """A quote that was asked for with a pasted table."""
    draft = browser.post("/drafts", data={"form_token": token, "text": TABLE, "customer": MARKED})
    page = read_strictly(draft)
    assert 'alt="Section of the lens to scale"' in page
    confirm = re.search(r'name="confirm" value="([0-9a-f]{64})"', page)
    assert confirm
    asked = browser.post("/drafts", data=hidden(page) | {"confirm": confirm[1]})
    assert asked.status_code == 303, asked.text
    again = browser.post("/drafts", data=hidden(page) | {"confirm": confirm[1]})
    assert again.headers["Location"] == asked.headers["Location"], "sent twice it is one quote"
    place = asked.headers["Location"]
    until = time.monotonic() + 60
    while "data-follow" in browser.get(place).text:
        assert time.monotonic() < until
        time.sleep(0.1)
    return place.rpartition("/")[2]


def test_who_is_not_signed_in_is_asked_to_and_goes_on_where_they_wanted(box: Address) -> None:
    with httpx.Client(base_url=box.url) as stranger:
        answer = stranger.get("/quotes", params={"text": "a b"})
        assert answer.status_code == 303
        assert answer.headers["Location"].startswith("/sign-in?then=%2Fquotes%3Ftext%3D")
        assert 'name="then" value="/quotes?text=a' in read_strictly(stranger.get(answer.headers["Location"]))
        assert 'name="then" value="/"' in stranger.get("/sign-in", params={"then": "//elsewhere.example"}).text
        wrong = stranger.post("/sign-in", data={"key": "bw_000000000000_nobody"})
        assert wrong.status_code == 401
        assert "The key is not known" in read_strictly(wrong)
        assert "Set-Cookie" not in wrong.headers


def test_the_cookie_is_for_the_browser_alone_and_secure_where_it_came_by_tls(box: Address) -> None:
    with httpx.Client(base_url=box.url) as client:
        plain = client.post("/sign-in", data={"key": box.keys["erp"]}).headers["Set-Cookie"]
        by_tls = client.post("/sign-in", data={"key": box.keys["erp"]}, headers={"X-Forwarded-Proto": "https"}).headers[
            "Set-Cookie"
        ]
    assert box.keys["erp"] not in plain
    for word in ("HttpOnly", "SameSite=lax", "Path=/"):
        assert word in plain
        assert word in by_tls
    assert by_tls.startswith(f"__Host-{COOKIE}=")
    assert "Secure" in by_tls


def test_a_quote_is_read_with_its_figures_and_why_they_are(browser: httpx.Client, number: str) -> None:
    quote = read_strictly(browser.get(f"/quotes/{number}"))
    assert html.escape(MARKED).replace("&#x27;", "&#39;") in quote
    links = re.findall(rf'href="(/quotes/{number}/why\?of=[^"]+)"', quote)
    assert len(links) > 100
    for link in (links[0], next(link for link in links if "batch_min" in link), links[-1]):
        why = read_strictly(browser.get(html.unescape(link)))
        assert 'class="explained"' in why
    price = read_strictly(browser.get(f"/quotes/{number}/why", params={"of": "/breaks/0/unit_price"}))
    stated = browser.get(f"/quotes/{number}").text.split("breaks/0/unit_price")[1]
    assert re.search(r">([0-9.,]+)</a>", stated)[1] in price  # type: ignore[index]
    assert browser.get(f"/quotes/{number}/why", params={"of": "/none"}).status_code == 404
    offer = browser.get(f"/quotes/{number}/offer", params={"form": "pdf", "language": "de"})
    assert offer.content.startswith(b"%PDF")
    assert browser.get(f"/quotes/{number}/job-sheet").content.startswith(b"%PDF")


def test_what_is_typed_wrongly_stands_there_again_beside_the_fault(browser: httpx.Client, token: str, number: str) -> None:
    refused = browser.post(
        f"/quotes/{number}/decision",
        data={"form_token": token, "decision": "accepted", "quantity": "7", "by": "A. N. Other", "purchase_order": "PO 7"},
    )
    page = read_strictly(refused)
    assert refused.status_code == 422
    assert 'value="PO 7"' in page
    assert 'role="alert"' in page
    wrong = browser.post("/drafts", data={"form_token": token, "text": "no lens at all", "customer": MARKED})
    assert wrong.status_code == 422
    assert "no lens at all</textarea>" in read_strictly(wrong)
    assert browser.post("/drafts", data={"form_token": token, "text": TABLE, "quantities": "ten"}).status_code == 422


def test_a_form_of_another_site_or_of_no_session_of_ours_is_not_taken(browser: httpx.Client, token: str, number: str) -> None:
    place, said = f"/quotes/{number}/decision", {"decision": "declined", "by": "x"}
    assert browser.post(place, data=said).status_code == 403
    assert browser.post(place, data={**said, "form_token": "0" * 64}).status_code == 403
    assert browser.post(place, data={**said, "form_token": token}, headers={"Sec-Fetch-Site": "cross-site"}).status_code == 403
    assert (
        browser.post(place, data={**said, "form_token": token}, headers={"Origin": "https://elsewhere.example"}).status_code == 403
    )
    assert "Valid until" in browser.get(f"/quotes/{number}").text, "nothing was decided"


def test_a_session_that_ended_in_the_middle_of_a_form_loses_nothing_of_it(box: Address, secret: str) -> None:
    old = Seal(secret).sealed(Session(box.keys["sales"], "a", time.time() - IDLE_S - 60))
    with httpx.Client(base_url=box.url, cookies={COOKIE: old}, timeout=60) as client:
        ended = client.post("/drafts", data={"form_token": "x", "text": TABLE, "customer": MARKED})
        page = read_strictly(ended)
        assert ended.status_code == 401
        assert "what you typed is kept" in page
        signed_in = client.post("/sign-in", data=hidden(page) | {"key": box.keys["sales"]})
        held = hidden(read_strictly(signed_in))
        assert held["text"].replace("\r\n", "\n") == TABLE
        assert held["customer"] == MARKED
        assert "How it was read" in read_strictly(client.post("/drafts", data=held))
        another = client.post("/sign-in", data=hidden(page) | {"key": box.keys["engineer"]})
        assert another.status_code == 303, "what one typed another does not see"
        client.cookies.clear()
        unknown = client.post("/drafts", data={"text": "y" * 1000})
        assert unknown.status_code == 401
        assert "y" * 1000 not in unknown.text


@pytest.fixture
def secret(box: Address) -> str:
    """The key of the suite of this box."""
    key: str = json.loads((box.folder / "secrets.json").read_text(encoding="utf-8"))["service"]
    return key


def test_a_decline_is_recorded_and_taken_back(browser: httpx.Client, token: str, number: str) -> None:
    place = f"/quotes/{number}"
    assert (
        browser.post(
            f"{place}/decision", data={"form_token": token, "decision": "declined", "by": "R. Vale", "reason": "price"}
        ).status_code
        == 303
    )
    assert "Declined" in read_strictly(browser.get(place))
    assert browser.post(f"{place}/undo", data={"form_token": token, "by": "E. Holm", "reason": ""}).status_code == 422
    assert (
        browser.post(f"{place}/undo", data={"form_token": token, "by": "E. Holm", "reason": "another quote was meant"}).status_code
        == 303
    )
    assert "Record the acceptance" in read_strictly(browser.get(place))
    assert browser.post(f"{place}/undo", data={"form_token": token, "by": "E. Holm", "reason": "again"}).status_code == 409


def test_search_and_lists_show_quotes_and_take_any_sign(browser: httpx.Client, number: str) -> None:
    assert number in read_strictly(browser.get("/quotes", params={"text": "fell tarn"}))
    assert "No quote is like that" in read_strictly(browser.get("/quotes", params={"text": "%'\"<"}))
    assert browser.get("/quotes", params={"created_from": "never"}).status_code == 422
    tables = read_strictly(browser.get("/rates"))
    assert f"<dd>{PURPOSES['calendar'][0]}" in tables
    assert "(&#39;" not in tables, "a pair of ours as Python writes it"
    assert browser.get("/rates/polishing").status_code == 403
    assert browser.get("/quotes/Q-2026-999999").status_code == 404


def test_style_and_script_lie_under_their_digest_for_ever(browser: httpx.Client) -> None:
    page = browser.get("/sign-in").text
    for address in re.findall(r'"(/static/[^"]+)"', page):
        answer = browser.get(address)
        assert answer.status_code == 200
        assert "immutable" in answer.headers["Cache-Control"]
    assert browser.get("/static/pages-000000000000.css").status_code == 404
    assert visits.MOST_FIELD_BYTES > 4 * 2**20 * 4 / 3, "a file in base64"


def test_guides_are_there_for_everybody_and_hold_their_commands(box: Address) -> None:
    with httpx.Client(base_url=box.url) as anybody:
        offered = re.findall(r'href="(/help/\w+)"', read_strictly(anybody.get("/help")))
        assert len(offered) == 5
        for address in offered:
            assert "$ blankwright " in read_strictly(anybody.get(address))
        assert anybody.get("/help/nobody").status_code == 404


def test_signing_out_ends_it(box: Address) -> None:
    with httpx.Client(base_url=box.url) as client:
        client.post("/sign-in", data={"key": box.keys["engineer"]})
        token = form_token(client.get("/quotes").text)
        assert client.post("/sign-out", data={"form_token": "no"}).status_code == 403
        assert client.post("/sign-out", data={"form_token": token}).status_code == 303
        assert client.get("/quotes").headers["Location"].startswith("/sign-in")
