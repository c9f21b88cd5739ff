"""The words of the customer's sheet stand in tables, one a language: none in its templates, none for nothing, the same names and places in all."""

from __future__ import annotations

import re
from pathlib import Path
from string import Formatter
from typing import Any, get_args

import pytest

import services.quoting.sheet
from services.quoting.sheet import LANGUAGES
from services.quoting.sheet.prices import TOO_LONG
from services.quoting.sheet.words import TABLES, english
from shared_schemas.finding_kinds import AS_SAID, CATALOGUE
from shared_schemas.letterhead import SheetLanguage
from shared_schemas.operation_kinds import OPERATIONS
from shared_schemas.prescription import BarrelMaterial

ROOM = Path(str(services.quoting.sheet.__file__)).parent
OTHERS = [code for code in LANGUAGES if code != "en"]
ONLY_IN_OTHERS = {"THINGS", "TOLERANCES", "PLACES", "QUALITIES", "FINDINGS", "GISTS"}
"""What English says as it comes, and other languages have words for."""


def names(table: Any) -> set[str]:
    return {name for name in vars(table) if name.isupper()}


def places(text: str) -> set[str]:
    return {field for _, field, _, _ in Formatter().parse(text) if field is not None}


def test_the_templates_have_no_words_of_their_own() -> None:
    page = "".join((ROOM / name).read_text(encoding="utf-8") for name in ("offer.html", "answer.html", "blocks.html"))
    for part in (r"{#.*?#}", r"{%.*?%}", r"{{.*?}}", r"<style>.*?</style>", r"<[^>]*>"):
        page = re.sub(part, " ", page, flags=re.DOTALL)
    assert page.split() == []
    paper = re.sub(r"//.*|#[^\n\]]*", "", (ROOM / "offer.typ").read_text(encoding="utf-8"))
    assert [text for text in re.findall(r"\[([^\[\]]*)\]", paper) if re.search(r"\w{3,}", text)] == []


def test_every_word_of_the_tables_is_used() -> None:
    beside = [ROOM.parent / "service/answering.py", ROOM.parent / "api/customer_answers.py"]
    others = "".join(path.read_text(encoding="utf-8") for path in [*ROOM.iterdir(), *beside] if path.suffix == ".py")
    assert len(names(english)) > 60
    assert {
        name for name in names(english) if not re.search(rf"\b(words|english\))\.{name}\b|page_without_offer\(\"{name}\"", others)
    } == set()


@pytest.mark.parametrize("code", OTHERS)
def test_every_table_has_the_same_names_and_each_sentence_the_same_places(code: str) -> None:
    table = TABLES[code]
    assert names(table) == names(english)
    for name in names(english) - ONLY_IN_OTHERS:
        ours, theirs = getattr(english, name), getattr(table, name)
        assert type(ours) is type(theirs), name
        if isinstance(ours, str):
            assert places(ours) == places(theirs), name
        elif isinstance(ours, dict):
            assert ours.keys() == theirs.keys(), name
        else:
            assert [head.startswith(">") for head in ours] == [head.startswith(">") for head in theirs], name


@pytest.mark.parametrize("code", LANGUAGES)
def test_whatever_the_trade_can_say_has_a_word(code: str) -> None:
    table = TABLES[code]
    assert set(table.OPERATIONS) == set(OPERATIONS) - {"own_work"}
    assert set(get_args(BarrelMaterial)) <= set(table.METALS)


@pytest.mark.parametrize("code", OTHERS)
def test_every_sentence_of_the_catalogue_that_is_the_customers_own_is_translated(code: str) -> None:
    own = {kind.code: kind.customer_words for kind in CATALOGUE.values() if kind.customer_words not in (None, AS_SAID, "{message}")}
    told = TABLES[code].FINDINGS
    assert set(told) == set(own)
    for finding, sentence in own.items():
        assert places(sentence or "") == places(told[finding]), finding


@pytest.mark.parametrize("code", OTHERS)
def test_what_every_other_finding_of_a_quote_is_about_is_said_in_the_language(code: str) -> None:
    as_said = {
        kind.code for kind in CATALOGUE.values() if kind.customer_words in (AS_SAID, "{message}") and kind.severity != "stop"
    }
    assert set(TABLES[code].GISTS) == as_said | {TOO_LONG}, "what else stops a lens is never on a sheet"
    assert not [gist for gist in TABLES[code].GISTS.values() if "{" in gist or gist[-1] not in ".?"]


def test_the_languages_of_a_letterhead_are_those_of_the_sheet() -> None:
    assert set(get_args(SheetLanguage)) == set(LANGUAGES)
