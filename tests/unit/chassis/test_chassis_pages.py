"""Templates of pages: what is filled in is text, and what is missing is an error."""

from __future__ import annotations

from pathlib import Path

import pytest
from jinja2 import UndefinedError
from markupsafe import Markup

from services.chassis.pages import page_templates


def rendered(template: str, **given: object) -> str:
    return page_templates("services.quoting.sheet").from_string(template).render(**given)


def test_what_is_filled_in_is_never_markup() -> None:
    assert rendered("<p>{{ words }}</p>", words="<b onclick='x'>&") == "<p>&lt;b onclick=&#39;x&#39;&gt;&amp;</p>"


def test_control_characters_are_left_out_and_line_ends_stay() -> None:
    assert rendered("{{ words }}", words="a\u202eb\x07c\nd") == "abc\nd"


def test_markup_of_our_own_stays() -> None:
    assert rendered("{{ picture }}", picture=Markup("<svg>\t</svg>")) == "<svg>\t</svg>"


def test_figures_are_filled_in_as_they_are_written() -> None:
    assert rendered("{{ whole }} {{ part }}", whole=5, part=0.5) == "5 0.5"


def test_a_name_that_nobody_gave_is_an_error() -> None:
    with pytest.raises(UndefinedError, match="words"):
        rendered("{{ words }}")


def test_templates_lie_beside_the_code_that_fills_them() -> None:
    page = page_templates("services.quoting.sheet").get_template("offer.html")
    assert page.filename is not None
    assert Path(page.filename).parent.name == "sheet"
