"""Job sheets against other hands: pypdf reads the PDF, html5lib the page, and the quote says what stands where.

Sources: ISO 19005-2 (PDF/A-2, level A) and ISO 14289-1 (PDF/UA-1) name what a file says of itself (from memory); ISO 32000-1, 7.5.7 object streams.
"""

from __future__ import annotations

import io
import re
import time
from typing import Any

import html5lib
import pypdf
import pytest

from services.chassis.packed_pdf import packed
from services.quoting.job_sheet import Given, job_page, job_pdf, job_sheet_of
from shared_schemas.rates import Rates
from tests.chain import demo
from tests.unit.quoting.test_quoting_job_sheet import given_of

SIZES_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
POINTS_PER_MM = 72 / 25.4


@pytest.fixture(scope="module")
def given(rates: Rates) -> Given:
    return given_of(demo(), rates, 5)


@pytest.fixture(scope="module", params=["a4", "letter"])
def pdf(request: Any, given: Given) -> tuple[str, bytes]:
    began = time.perf_counter()
    file = job_pdf(job_sheet_of(given, paper=request.param), on=given.body.quoted_on)
    assert time.perf_counter() - began < 2.0
    assert len(file) < 500_000
    return request.param, file


def test_each_page_says_that_it_is_internal_and_which_of_how_many_it_is(pdf: tuple[str, bytes]) -> None:
    paper, file = pdf
    pages = pypdf.PdfReader(io.BytesIO(file), strict=True).pages
    for number, page in enumerate(pages, start=1):
        text = re.sub(r"\s+", " ", page.extract_text())
        assert "Internal: not for the customer" in text
        assert f"Page {number} of {len(pages)}" in text
        size = [float(side) / POINTS_PER_MM for side in (page.mediabox.width, page.mediabox.height)]
        assert size == pytest.approx(SIZES_MM[paper], abs=0.5)


def test_the_file_is_tagged_archivable_and_has_its_fonts_inside(pdf: tuple[str, bytes]) -> None:
    reader = pypdf.PdfReader(io.BytesIO(pdf[1]), strict=True)
    catalog: Any = reader.trailer["/Root"]
    assert catalog["/MarkInfo"]["/Marked"]
    assert catalog["/Lang"] == "en"
    said = catalog["/Metadata"].get_data().decode()
    assert re.search(r"pdfaid:part>2<", said)
    assert re.search(r"pdfuaid:part>1<", said)
    for page in reader.pages:
        for font in page["/Resources"]["/Font"].values():
            (descendant,) = font.get_object()["/DescendantFonts"]
            assert "/FontFile3" in descendant.get_object()["/FontDescriptor"]


def test_what_is_packed_reads_as_it_did(given: Given, monkeypatch: pytest.MonkeyPatch) -> None:
    sheet = job_sheet_of(given)
    small = job_pdf(sheet, on=given.body.quoted_on)
    monkeypatch.setattr("services.quoting.job_sheet.rendered.packed", lambda pdf: pdf)
    large = job_pdf(sheet, on=given.body.quoted_on)
    assert packed(large) == small
    assert len(small) < len(large) / 2
    one, other = (pypdf.PdfReader(io.BytesIO(file), strict=True) for file in (small, large))
    assert [page.extract_text() for page in one.pages] == [page.extract_text() for page in other.pages]
    assert one.metadata == other.metadata
    with pytest.raises(ValueError, match="one table"):
        packed(small)


def test_the_page_is_html_with_heads_of_tables_and_pictures_in_words(given: Given) -> None:
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    page = parser.parse(job_page(job_sheet_of(given)))
    headings = [one.tag for one in page.iter() if one.tag in ("h1", "h2", "h3")]
    assert headings[0] == "h1"
    assert headings.count("h1") == 1
    assert all(head.get("scope") == "col" for head in page.iter("th"))
    pictures = [one for one in page.iter() if str(one.tag).endswith("svg")]
    assert pictures
    for picture in pictures:
        (title,) = [one for one in picture if str(one.tag).endswith("title")]
        assert title.text
