"""Pages of PDF: what is filled in stands as text, the same data make the same bytes, and the file says what it is."""

from __future__ import annotations

from datetime import date
from io import BytesIO
from pathlib import Path

import pypdf
import pytest
import typst

from services.chassis.typesetting import NO_SIGN, typeset

DAY = date(2026, 11, 30)
TEMPLATE = """
#import "shared.typ": shown
#let data = json("data.json")
#set document(title: data.title, date: auto)
#set text(lang: data.language)
#set page(footer: context counter(page).display("1/1", both: true))
#title()
#for name in data.names [#shown(name) #parbreak()]
"""


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    folder = tmp_path / "typeset_here"
    folder.mkdir()
    (folder / "__init__.py").write_text("")
    (folder / "page.typ").write_text(TEMPLATE)
    (folder / "shared.typ").write_text("#let shown(name) = text(name)")
    (folder / "reads.typ").write_text('#read("/etc/hostname")')
    monkeypatch.syspath_prepend(tmp_path)
    return "typeset_here"


def text_of(pdf: bytes) -> str:
    return "\n".join(page.extract_text() for page in pypdf.PdfReader(BytesIO(pdf)).pages)


def test_names_that_look_like_markup_print_as_they_stand(package: str) -> None:
    names = ['#import "x"', "*bold* _thin_ $x$", "<label> @ref // no comment", '#read("/etc/hostname")', "tab\tand\u202eturned"]
    shown = text_of(typeset(package, "page.typ", {"title": "T", "language": "en", "names": names}, on=DAY))
    for name in (*names[:4], "tabandturned"):
        assert name in shown


def test_the_same_data_and_day_make_the_same_bytes_and_another_day_others(package: str) -> None:
    data = {"title": "T", "language": "en", "names": ["one"]}
    first = typeset(package, "page.typ", data, on=DAY)
    assert typeset(package, "page.typ", data, on=DAY) == first
    assert typeset(package, "page.typ", data, on=date(2026, 12, 1)) != first


def test_a_file_is_tagged_archivable_and_says_its_title_language_and_day(package: str) -> None:
    read = pypdf.PdfReader(BytesIO(typeset(package, "page.typ", {"title": "Angebot", "language": "de", "names": ["eins"]}, on=DAY)))
    catalogue = read.trailer["/Root"]
    assert catalogue["/MarkInfo"]["/Marked"]
    assert catalogue["/Lang"] == "de"
    assert read.metadata is not None
    assert read.metadata.title == "Angebot"
    assert read.metadata.creation_date is not None
    assert read.metadata.creation_date.date() == DAY
    told = catalogue["/Metadata"].get_data().decode()
    assert "<pdfaid:part>2</pdfaid:part><pdfaid:conformance>A</pdfaid:conformance>" in told
    assert "<pdfuaid:part>1</pdfuaid:part>" in told


def test_a_sign_that_no_font_has_is_replaced_and_the_rest_stands(package: str) -> None:
    shown = text_of(typeset(package, "page.typ", {"title": "T", "language": "en", "names": ["Łódź ⌀ 日本 Ltd"]}, on=DAY))
    assert f"Łódź ⌀ {NO_SIGN}{NO_SIGN} Ltd" in shown


def test_a_template_sees_nothing_else_of_the_machine(package: str) -> None:
    with pytest.raises(typst.TypstError, match="not found"):
        typeset(package, "reads.typ", {}, on=DAY)
