"""Offers against other hands: pypdf reads the PDF, html5lib the page, Babel (CLDR) writes the figures, and the quote's JSON says what stands where.

Sources: ISO 19005-2 (PDF/A-2, level A) and ISO 14289-1 (PDF/UA-1) name what a file says of itself (pdfaid, pdfuaid; from memory); Unicode CLDR by Babel 2.18.
"""

from __future__ import annotations

import io
import re
import time
from typing import Any

import html5lib
import pypdf
import pytest
from babel.dates import format_date
from babel.numbers import format_decimal

from services.quoting.sheet import LANGUAGES, PAPERS, Head, Offer, Paper, offer_of, offer_page, offer_pdf
from services.quoting.sheet.words import TABLES
from shared_schemas.letterhead import Letterhead
from shared_schemas.order_terms import OrderTerms
from shared_schemas.quote import QuoteBody
from shared_schemas.rates import Rates
from tests.chain import demo, quote_of

HEAD = Head(
    number="Q-2026-000118", revision=2, latest_revision=2, customer="Vinterholm *Ice* #Survey", digest="4f" * 32, state="open"
)
SELLER = Letterhead(
    name="Halden & Marsh Optical Works", address=("Mill Lane 4", "Ambleford"), email="quotes@halden-marsh.example", tax_id="XX 000",
    payment={"en": "30 days net.", "de": "30 Tage netto."}, legal=("Registered in Ambleford, no. 0",),
)  # fmt: skip
LOCALES = {
    ("en", "a4"): "en_GB",
    ("en", "letter"): "en_US",
    ("de", "a4"): "de",
    ("de", "letter"): "de",
    ("fr", "a4"): "fr",
    ("fr", "letter"): "fr",
}
POINTS_PER_MM = 72 / 25.4
SIZES_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
IN_ALL = [(code, paper) for code in LANGUAGES for paper in PAPERS]


@pytest.fixture(scope="module")
def body(rates: Rates) -> QuoteBody:
    terms = OrderTerms(reference="RFQ 118 / lidar", contact="Ms Holm", purchase_terms="Our terms, 7")
    return quote_of(demo(), rates).model_copy(update={"order": terms})


def offered(body: QuoteBody, code: str, paper: Paper, **more: Any) -> Offer:
    return offer_of(head=HEAD, body=body, code=code, paper=paper, letterhead=SELLER, **more)


@pytest.fixture(scope="module")
def files(body: QuoteBody) -> dict[tuple[str, str], bytes]:
    return {
        (code, paper): offer_pdf(offered(body, code, paper, link="https://x.example/offers/c0de"), on=body.quoted_on)
        for code, paper in IN_ALL
    }


def pages_of(pdf: bytes) -> list[str]:
    return [re.sub(r"[\s\u202f\u00a0]+", " ", page.extract_text()) for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]


def plain(text: str) -> str:
    return re.sub(r"[\s\u202f\u00a0]+", " ", text)


@pytest.mark.parametrize(("code", "paper"), IN_ALL)
def test_prices_stand_on_page_one_in_the_figures_of_the_language(
    files: dict[tuple[str, str], bytes], body: QuoteBody, code: str, paper: str
) -> None:
    locale = LOCALES[code, paper]
    first = pages_of(files[code, paper])[0]
    for one in body.breaks:
        for amount in (one.unit_price, one.total_price):
            assert plain(format_decimal(amount, "#,##0.00", locale=locale)) in first
        assert format_date(one.lead_time.ship_date, "medium", locale=locale) in first
    for day in (body.quoted_on, body.valid_until):
        assert plain(format_date(day, "long", locale=locale)) in first
    for text in (
        SELLER.name,
        "Vinterholm *Ice* #Survey",
        "RFQ 118 / lidar",
        "Ms Holm",
        "Our terms, 7",
        "XX 000",
        "quotes@halden-marsh.example",
    ):
        assert text in first, text


@pytest.mark.parametrize(("code", "paper"), IN_ALL)
def test_every_page_has_the_number_and_which_of_how_many_it_is(files: dict[tuple[str, str], bytes], code: str, paper: str) -> None:
    pages = pages_of(files[code, paper])
    for place, page in enumerate(pages, start=1):
        assert HEAD.number in page
        assert TABLES[code].PAGE_OF.format(page=place, pages=len(pages)) in page
    read = pypdf.PdfReader(io.BytesIO(files[code, paper]))
    width, height = (mm * POINTS_PER_MM for mm in SIZES_MM[paper])
    assert all(
        (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx((width, height), abs=0.5) for page in read.pages
    )


@pytest.mark.parametrize("code", LANGUAGES)
def test_the_file_is_archivable_tagged_and_has_its_fonts_title_and_language(
    files: dict[tuple[str, str], bytes], body: QuoteBody, code: str
) -> None:
    read = pypdf.PdfReader(io.BytesIO(files[code, "a4"]))
    catalogue: Any = read.trailer["/Root"]
    assert catalogue["/Lang"] == code
    assert catalogue["/MarkInfo"]["/Marked"]
    assert catalogue["/ViewerPreferences"]["/DisplayDocTitle"]
    told = catalogue["/Metadata"].get_data().decode()
    assert "<pdfaid:part>2</pdfaid:part><pdfaid:conformance>A</pdfaid:conformance>" in told
    assert "<pdfuaid:part>1</pdfuaid:part>" in told
    assert read.metadata is not None
    assert read.metadata.title == f"{TABLES[code].TITLE} {TABLES[code].NUMBER.format(number=HEAD.number, revision=2)}"
    assert read.metadata.author == SELLER.name
    fonts = [font.get_object() for page in read.pages for font in page["/Resources"]["/Font"].values()]  # type: ignore[index]
    assert fonts
    for font in fonts:
        descriptor = font["/DescendantFonts"][0].get_object()["/FontDescriptor"]
        assert {"/FontFile2", "/FontFile3"} & set(descriptor), font["/BaseFont"]
    roles = set(kinds_of(catalogue["/StructTreeRoot"]))
    assert {"/H1", "/Table", "/TH", "/TD", "/Figure", "/L", "/LI"} <= roles


def kinds_of(node: Any) -> list[str]:
    """Kinds of all structure elements below one."""
    node = node.get_object()
    if not isinstance(node, dict):
        return []
    below = node.get("/K", [])
    own = [str(node["/S"])] if "/S" in node else []
    return own + [kind for one in (below if isinstance(below, list) else [below]) for kind in kinds_of(one)]


def test_the_link_is_printed_and_can_be_followed_and_nothing_else_leads_anywhere(files: dict[tuple[str, str], bytes]) -> None:
    read = pypdf.PdfReader(io.BytesIO(files["en", "a4"]))
    assert "https://x.example/offers/c0de" in "".join(pages_of(files["en", "a4"]))
    targets = {
        str(note.get_object()["/A"]["/URI"]) for page in read.pages for note in page.get("/Annots", []) if "/A" in note.get_object()
    }
    assert targets == {"https://x.example/offers/c0de"}


def test_nothing_of_cost_or_of_where_figures_come_from_is_on_paper(files: dict[tuple[str, str], bytes], body: QuoteBody) -> None:
    text = " ".join(pages_of(files["en", "a4"]))
    for word in (
        "cost",
        "margin",
        "overhead",
        "contingency",
        "from memory",
        "common practice",
        "rate revision",
        "supplier",
        "p80",
        "invented",
    ):
        assert word not in text.lower(), word
    for one in body.breaks:
        own = (one.unit_cost.planned, one.unit_cost.p50, one.unit_cost.p95, *(line.amount for line in one.lines))
        assert not [amount for amount in own if amount and format_decimal(amount, "#,##0.00", locale="en") in text.split()]


def test_a_file_is_small_quick_and_the_same_each_time(files: dict[tuple[str, str], bytes], body: QuoteBody) -> None:
    assert max(map(len, files.values())) < 500_000
    begun = time.process_time()
    again = offer_pdf(offered(body, "de", "a4", link="https://x.example/offers/c0de"), on=body.quoted_on)
    assert time.process_time() - begun < 2.0
    assert again == files["de", "a4"]


@pytest.mark.parametrize("code", LANGUAGES)
def test_the_page_is_html_without_an_error_with_the_same_texts_as_the_paper(
    files: dict[tuple[str, str], bytes], body: QuoteBody, code: str
) -> None:
    page = offer_page(offered(body, code, "a4", link="https://x.example/offers/c0de"))
    tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(page)
    assert tree.get("lang") == code
    on_paper = re.sub(r"\s", "", "".join(pages_of(files[code, "a4"])))
    for cell in tree.iter("td"):
        assert re.sub(r"[\s\u202f\u00a0]", "", "".join(cell.itertext())) in on_paper


def test_what_has_no_words_in_the_language_is_marked_as_in_english(body: QuoteBody, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "a softer cement, or a diameter of at most 25\u00a0mm. (auf Englisch)" in offer_page(offered(body, "de", "a4"))
    told = offer_page(offered(body, "de", "a4"))
    (item,) = re.findall(r"<li>(Zwischen L4 und L5: [^<]*)</li>", told)
    assert item.startswith("Zwischen L4 und L5: Verkittete Gläser dehnen sich ungleich aus. The glasses of L4 and L5 differ")
    assert item.count("(auf Englisch)") == 1, "once for what is said of the case and what would do"
    assert "(in English)" not in offer_page(offered(body, "en", "a4"))
    monkeypatch.setattr(TABLES["de"], "GISTS", {})
    assert "What would do: a softer cement, or a diameter of at most 25\u00a0mm. (auf Englisch)" in offer_page(
        offered(body, "de", "a4")
    )
