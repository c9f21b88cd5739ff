"""The words of the customer's sheet stand in one table: none in its template, and none in the table for nothing."""

from __future__ import annotations

import re
from pathlib import Path

import services.quoting.sheet
from services.quoting.sheet import words

ROOM = Path(str(services.quoting.sheet.__file__)).parent


def test_the_template_has_no_words_of_its_own() -> None:
    page = (ROOM / "page.html").read_text(encoding="utf-8")
    for part in (r"{#.*?#}", r"{%.*?%}", r"{{.*?}}", r"<style>.*?</style>", r"<[^>]*>"):
        page = re.sub(part, " ", page, flags=re.DOTALL)
    assert page.split() == []


def test_every_word_of_the_table_is_used() -> None:
    others = "".join(
        path.read_text(encoding="utf-8") for path in ROOM.iterdir() if path.suffix in (".py", ".html") and path.name != "words.py"
    )
    names = {name for name in vars(words) if name.isupper()}
    assert len(names) > 60
    assert {name for name in names if not re.search(rf"\bwords\.{name}\b", others)} == set()
