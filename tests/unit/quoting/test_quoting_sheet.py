"""The customer's sheet: what stands on it and in which order, that texts are no markup, and that the shop's business is not on it."""

from __future__ import annotations

import json
import re
from datetime import UTC, date, datetime
from decimal import Decimal
from html import unescape
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from services.glass.domain.plan import plan_blanks
from services.prescription.domain.check import check
from services.process.domain.plan import plan_operations
from services.quoting.pricing.quote import assemble
from services.quoting.sheet import Head, offer_of, offer_page
from services.quoting.sheet.language import language
from services.quoting.sheet.parts import Table
from services.quoting.sheet.prices import prices
from shared_schemas.check import CheckReport, Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.order_terms import OrderTerms
from shared_schemas.quote import QuoteBody, QuoteDecision
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job, Refusal
from tests.chain import demo, quote_of

DEMO = Path(__file__).resolve().parents[3] / "services" / "desk" / "demo" / "lake_ice_lidar.json"
HEAD = Head(number="Q-2026-000001", revision=2, latest_revision=2, customer="Tarn & Fell", digest="ab" * 32, state="open")
SHOPS_BUSINESS = (
    "cost", "margin", "overhead", "contingency", "loss", "supplier", "profit", "yield", "scrap", "p50", "material", "work centre", "SCHOTT", "OHARA",
    "a kg", "spares", "slurry", "minutes", "rate revision", "from memory", "common practice",
)  # fmt: skip


def sheet_page(*, head: Head, body: QuoteBody, **more: Any) -> str:
    return offer_page(offer_of(head=head, body=body, **more))


def quoted(rates: Rates, **changes: Any) -> QuoteBody:
    """The demo, through every stage, with another prescription if one is given."""
    document = json.loads(DEMO.read_text(encoding="utf-8"))
    document["prescription"].update(changes)
    job = Job(number="Q", attempt=1, request=QuoteRequest.model_validate(document), rate_revision=1, quoted_on=date(2026, 11, 25))
    report = check(job=job, rates=rates)
    assert isinstance(report, CheckReport), report
    blanks = plan_blanks(job=job, check=report, rates=rates)
    assert not isinstance(blanks, Refusal), blanks
    operations = plan_operations(job=job, check=report, blanks=blanks, rates=rates)
    assert not isinstance(operations, Refusal), operations
    return assemble(job=job, check=report, blanks=blanks, operations=operations, rates=rates, rate_digest="cd" * 32)


@pytest.fixture(scope="module")
def body(rates: Rates) -> QuoteBody:
    return quoted(rates)


class Page(HTMLParser):
    """Tags that are open, tags that there are, and the words outside style and picture."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in ("meta",):
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if not {"style", "svg"} & set(self.open):
            self.words.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.words))


def test_radii_near_a_test_plate_are_offered_where_plates_are_made(rates: Rates) -> None:
    plated, tested_otherwise = (
        Page(sheet_page(head=HEAD, body=quote_of(demo().model_copy(update={"quantities": (quantity,)}), rates))).text
        for quantity in (100, 25)
    )
    assert "Radii near a test plate" in plated
    assert "Radii near a test plate" not in tested_otherwise


def test_the_sheet_says_what_a_customer_asks_in_that_order(body: QuoteBody) -> None:
    page = Page(sheet_page(head=HEAD, body=body))
    assert page.open == []
    in_order = (
        "Quotation", "Q-2026-000001, revision 2", "Tarn & Fell", "25 November 2026", "Valid until", "9 January 2027", body.prescription.title,
        "Prices, in USD", "In addition, charged once: tooling", "Terms", "Schedule", "The lens", "L1", "N-SK5", "Sooner, for an additional charge", "Tooling, charged once",
        "All tools together", "Assumed, please confirm", "To look at", "What could be relaxed", "To mind when the lens is handled", "Order", "For the customer", "ab" * 32,
    )  # fmt: skip
    place = 0
    for words in in_order:
        assert words in page.text[place:], f"{words} does not come after what comes before it"
        place = page.text.index(words, place)


def test_every_price_stands_on_the_sheet_with_its_thousands_apart(body: QuoteBody) -> None:
    text = Page(sheet_page(head=HEAD, body=body)).text
    for one in body.breaks:
        ships = one.lead_time.ship_date
        day = f"{ships.day} {ships:%b} {ships.year}".replace("Sep", "Sept")
        assert f"{one.quantity:,} {one.unit_price:,} {one.total_price:,} {one.lead_time.p90_days} days {day}" in text
        assert one.expedite is None or f"{one.quantity:,} expedited throughout {one.expedite.cost:,}" in text
    assert f"{sum((tool.charge for tool in body.tooling), Decimal(0)):,}" in text


def test_a_quantity_that_takes_too_long_has_no_price_on_the_sheet(body: QuoteBody) -> None:
    days = sorted(one.lead_time.p90_days for one in body.breaks)
    too_long = finding("lead-time-too-long", "", "100 pieces take too long", figure=days[-1], limit=days[-1] - 1, unit="days")
    last = body.breaks[-1]
    assert last.lead_time.p90_days == days[-1] > days[-2] + 1
    text = Page(sheet_page(head=HEAD, body=body.model_copy(update={"findings": (*body.findings, too_long)}))).text
    assert f"{last.quantity:,} by agreement" in text
    for amount in (last.unit_price, last.total_price):
        assert f"{amount:,}" not in text
    assert f"{body.breaks[0].unit_price:,}" in text
    needed = tuple(one.model_copy(update={"in_time": "yes"}) for one in body.breaks)
    for breaks in (body.breaks, needed):
        section = prices(body.model_copy(update={"breaks": breaks, "findings": (too_long,)}), language("en"))
        assert section is not None
        table = section.blocks[0]
        assert isinstance(table, Table)
        assert {len(row) for row in table.rows} == {len(table.heads)}


def test_radii_have_their_signs_and_figures_of_the_drawing_keep_their_digits(rates: Rates) -> None:
    body = quoted(rates)
    first, *others = body.prescription.elements
    surface = first.front.model_copy(update={"radius_mm": -1234.56789})
    drawn = body.prescription.model_copy(update={"elements": (first.model_copy(update={"front": surface}), *others)})
    text = Page(sheet_page(head=HEAD, body=body.model_copy(update={"prescription": drawn}))).text
    assert "-1234.56789" in text
    assert "+323.73" in text
    assert "32 +0/-0.03" in text


def test_the_shops_business_is_not_on_the_sheet(body: QuoteBody) -> None:
    for terms in ("one_off", "spread"):
        page = sheet_page(head=HEAD, body=body.model_copy(update={"tooling_terms": terms}))
        for word in SHOPS_BUSINESS:
            assert not re.search(rf"\b{re.escape(word)}", Page(page).text, re.IGNORECASE), word
        shown = set(Page(page).text.replace(",", "").split())
        for one in body.breaks:
            lines = (*one.lines, *(one.expedite.lines if one.expedite else ()))
            own = (one.unit_cost.planned, one.unit_cost.p50, one.unit_cost.p95, *(line.amount for line in lines))
            assert not {str(amount) for amount in own} & shown


def test_findings_of_later_stages_are_only_those_a_customer_may_read(body: QuoteBody) -> None:
    secret = Finding(
        code="store-at-full-price",
        severity="care",
        pointer="/elements/0/glass",
        message="bought of Hidden & Sons at 66.80 USD a kg",
    )
    unknown = secret.model_copy(update={"code": "of_a_later_day"})
    page = sheet_page(head=HEAD, body=body.model_copy(update={"findings": (secret, unknown)}))
    assert "Hidden" not in page


def test_cautions_of_the_workshop_stay_there(body: QuoteBody) -> None:
    page = unescape(sheet_page(head=HEAD, body=body))
    assert body.cautions
    assert not any(caution in page for caution in body.cautions)
    assert "N-SK16 (L3, L6) stains or weathers" in page


def test_nothing_that_a_caller_wrote_is_markup(body: QuoteBody) -> None:
    hostile = "</title></style><script>alert(1)</script><img src=x onerror=alert(1)>\"'&\u202e"
    first, *others = body.prescription.elements
    element = first.model_copy(update={"name": "<b>L1", "front": first.front.model_copy(update={"form": hostile})})
    drawn = body.prescription.model_copy(update={"title": hostile, "remarks": hostile, "elements": (element, *others)})
    decision = QuoteDecision(
        number="Q", revision=2, decision="accepted", quantity=5, by=hostile, key_id="k", at=datetime(2026, 11, 26, tzinfo=UTC)
    )
    head = Head(
        number=hostile, revision=2, latest_revision=3, customer=hostile, digest=hostile, state="accepted", decision=decision
    )
    page = sheet_page(head=head, body=body.model_copy(update={"prescription": drawn}))
    seen = Page(page)
    assert seen.open == []
    assert not {"script", "img", "link", "iframe", "b"} & {tag for tag, _ in seen.tags}
    assert not any(name.startswith("on") for _, attributes in seen.tags for name in attributes)
    assert "\u202e" not in page
    assert 'alert(1)</script><img src=x onerror=alert(1)>"' in seen.text


def test_the_page_takes_nothing_from_elsewhere(body: QuoteBody) -> None:
    page = sheet_page(head=HEAD, body=body)
    places = [value for _, attributes in Page(page).tags for name, value in attributes.items() if name in ("src", "href", "action")]
    assert places == []
    assert "url(" not in page
    assert "@import" not in page
    assert "default-src 'none'" in page
    assert "@page" in page
    assert "break-inside:avoid" in page


def test_what_is_not_on_the_drawing_is_marked_and_named_as_assumed(rates: Rates) -> None:
    document = json.loads(DEMO.read_text(encoding="utf-8"))["prescription"]
    for face in ("front", "back"):
        document["elements"][2][face].pop("form")
    document["elements"][2].pop("tolerances")
    text = Page(sheet_page(head=HEAD, body=quoted(rates, elements=document["elements"]))).text
    assert "33 ±1*" in text
    assert "3/10(2)*" in text
    assert "* not stated: default of ISO 10110-11" in text
    assert re.search(r"Not stated for L3, so by default of ISO 10110-11: [^.]*front form 10 and 2 fringe spacings", text)
    assert "Design wavelength 587.5618 nm" in text


def test_what_was_assumed_in_reading_what_the_customer_sent_is_to_be_confirmed(body: QuoteBody) -> None:
    told = body.model_copy(update={"order": OrderTerms(assumptions=("all lengths in inch (no unit is said).",))})
    assert "Please confirm: all lengths in inch (no unit is said)." in Page(sheet_page(head=HEAD, body=told)).text
    assert "Please confirm" not in Page(sheet_page(head=HEAD, body=body)).text


def test_a_sheet_that_should_not_go_out_says_so(body: QuoteBody) -> None:
    own = body.model_copy(update={"findings": tuple(one for one in body.findings if one.code != "rests-on-invented-rates")})

    def notice(body: QuoteBody = own, **changes: Any) -> str:
        values: dict[str, Any] = {**HEAD.__dict__, **changes}
        found = re.search(r'<p class="notice">(.*?)</p>', sheet_page(head=Head(**values), body=body))
        return unescape(found[1]) if found else ""

    decision = QuoteDecision(
        number="Q", revision=2, decision="accepted", quantity=25, by="R. L.", key_id="k", at=datetime(2026, 11, 26, tzinfo=UTC)
    )
    draft = "Draft: whoever offers this has not entered a letterhead."
    assert notice() == draft, "no letterhead is invented"
    assert notice(body) == f"{draft} Trial: rests on figures that are not this shop's.", "the rates of the demo are invented"
    assert notice(latest_revision=3) == f"{draft} Revision 3 is the latest; this one is kept as it was."
    assert notice(state="expired") == f"{draft} Expired: it was valid until 9 January 2027."
    assert notice(state="accepted", decision=decision) == f"{draft} Accepted for 25 on 26 November 2026, as R. L. said."


def test_tools_that_are_spread_have_no_charge_of_their_own(body: QuoteBody) -> None:
    page = sheet_page(head=HEAD, body=body.model_copy(update={"tooling_terms": "spread"}))
    assert "The prices include these tools: radius tool 33.55 mm for L1" in Page(page).text
    assert "All tools together" not in page


def test_a_section_without_anything_to_say_is_left_out(body: QuoteBody) -> None:
    plain = body.model_copy(
        update={
            "tooling": (), "relaxations": (), "best_relaxations": None, "offers": (), "findings": (),
            "check": body.check.model_copy(update={"findings": ()}),
            "breaks": tuple(
                one.model_copy(
                    update={"expedite": None, "sooner": (), "lead_time": one.lead_time.model_copy(update={"decided_by": ()})}
                )
                for one in body.breaks
            ),
        }
    )  # fmt: skip
    page = sheet_page(head=HEAD, body=plain)
    assert re.findall(r"<h2>(.*?)</h2>", page) == [
        "Prices, in USD",
        "Terms",
        "Schedule",
        "The lens",
        "Assumed, please confirm",
        "Order",
    ]


def test_the_sheet_is_the_same_bytes_each_time(body: QuoteBody) -> None:
    assert sheet_page(head=HEAD, body=body) == sheet_page(head=HEAD, body=QuoteBody.model_validate_json(body.model_dump_json()))


def test_carriage_and_a_first_article_are_said_only_where_they_are_in_the_price(rates: Rates, body: QuoteBody) -> None:
    terms = {"freight_terms": "DAP", "freight_per_lot": Decimal(80)}
    paid = rates.model_copy(update={"commercial": tuple(row.model_copy(update=terms) for row in rates.commercial)})
    carried = Page(sheet_page(head=HEAD, body=quoted(paid, first_article=True))).text
    assert "Carriage in the price: DAP." in carried
    assert "its record comes with the lot" in carried
    (delivered,) = re.findall(r"Delivered with each lens: [^.]*", carried)
    assert "freight" not in delivered
    usual = Page(sheet_page(head=HEAD, body=body)).text
    assert "Carriage" not in usual
    assert "its record comes with the lot" not in usual
