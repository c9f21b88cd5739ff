"""The headers Accept, Content-Type and Prefer: what the standards say, and that what cannot be read is passed over."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.chassis.negotiation import LONGEST_WAIT_S, media_type_of, preferences, preferred_wait_s, quality


# Forms of J. Snell, Prefer Header for HTTP, RFC 7240 (2014), sections 2 and 4: https://www.rfc-editor.org/rfc/rfc7240
@pytest.mark.parametrize(
    ("fields", "found"),
    [
        (["respond-async, wait=100"], {"respond-async": "", "wait": "100"}),
        (["respond-async", "wait=100"], {"respond-async": "", "wait": "100"}),
        (["Lenient"], {"lenient": ""}),
        (['foo; some-parameter=""'], {"foo": ""}),
        (['foo=""; bar'], {"foo": ""}),
        (["priority=5"], {"priority": "5"}),
        (["wait=5, wait=9"], {"wait": "5"}),
        (['a = "x, wait=9" ; b=2 ;; c , wait\t=\t7'], {"a": "x, wait=9", "wait": "7"}),
        ([r'a="say \"no\""'], {"a": 'say "no"'}),
    ],
)
def test_preferences_are_read_as_the_standard_writes_them(fields: list[str], found: dict[str, str]) -> None:
    assert preferences(fields) == found


@pytest.mark.parametrize(
    ("fields", "wait_s"),
    [
        (["wait=2"], 2),
        (['WAIT="2"'], 2),
        (["wait=0"], 0),
        (["wait=3600"], LONGEST_WAIT_S),
        ([], None),
        (["wait"], None),
        (["wait=-1"], None),
        (["wait=1.5"], None),
        (["wait=٣"], None),
        (["wait=99999999999999999999"], None),
        (["wait=5 seconds"], None),
        (["=5"], None),
        (['x="open, wait=5'], None),
        (["respond-async wait=5"], None),
    ],
)
def test_what_is_no_wait_is_passed_over(fields: list[str], wait_s: int | None) -> None:
    assert preferred_wait_s(fields) == wait_s


@given(st.lists(st.text(max_size=60), max_size=3))
def test_no_header_breaks_anything(fields: list[str]) -> None:
    wait_s = preferred_wait_s(fields)
    assert wait_s is None or 0 <= wait_s <= LONGEST_WAIT_S


@pytest.mark.parametrize(
    ("accept", "weight"),
    [
        ("text/html", 1.0), ("", 1.0), ("*/*", 1.0), ("text/*;q=0.5", 0.5), ("text/html;q=0, */*", 0.0), ("application/pdf", 0.0),
        ("application/pdf, text/html;q=0.2", 0.2), ("TEXT/HTML; charset=utf-8; q=0.3", 0.3), ("text/html;q=nonsense", 1.0),
        ("text/html;q=nonsense, application/json", 0.0), ("text/*;q=0.9, text/html;q=0.1, */*", 0.1), ("nonsense", 0.0),
    ],
)  # fmt: skip
def test_what_a_caller_would_like_is_read_from_accept(accept: str, weight: float) -> None:
    assert quality(accept, "text/html") == weight


@pytest.mark.parametrize(
    ("content_type", "kind"), [("Text/CSV; charset=utf-8", "text/csv"), ("application/json", "application/json"), ("", "")]
)
def test_a_media_type_is_read_without_its_parameters(content_type: str, kind: str) -> None:
    assert media_type_of(content_type) == kind
