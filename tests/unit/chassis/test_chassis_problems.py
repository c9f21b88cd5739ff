"""Foreign errors become problem documents that say where, what stands there, and what would do."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError

from services.chassis.problems import PROBLEM_TYPES, clean, details_of_invalid, pointer_into, problem, problem_type, shown
from shared_schemas.problem import ProblemDetail
from shared_schemas.quote_request import QuoteRequest

FACE = {"radius_mm": 50.0, "clear_diameter_mm": 20.0}


def request(**changes: Any) -> dict[str, Any]:
    element = {"name": "L1", "glass": "N-BK7", "diameter_mm": 22.0, "centre_thickness_mm": 4.0, "front": FACE, "back": FACE}
    return {"prescription": {"title": "A lens", "elements": [element]}, "quantities": [5], **changes}


def details(body: dict[str, Any], model: type[BaseModel] = QuoteRequest) -> dict[str, ProblemDetail]:
    with pytest.raises(ValidationError) as caught:
        model.model_validate(body)
    return {detail.pointer: detail for detail in details_of_invalid(caught.value.errors(), body)}


def test_a_missing_field_is_named_by_its_own_pointer() -> None:
    body = request()
    del body["prescription"]["title"]
    assert details(body)["/prescription/title"].remedy == "add it"


def test_an_unknown_field_is_named_and_not_taken() -> None:
    found = details(request(colour="red"))["/colour"]
    assert found.remedy is not None
    assert "misspelt" in found.remedy


def test_a_radius_that_cannot_reach_its_aperture_names_figure_limit_and_what_would_do() -> None:
    body = request()
    body["prescription"]["elements"][0]["front"] = {"radius_mm": 5.0, "clear_diameter_mm": 20.0}
    found = details(body)["/prescription/elements/0/front/radius_mm"]
    assert found.figure == 5.0
    assert found.limit == 10.0
    assert "slipped decimal" in (found.remedy or "")


def test_the_branch_of_a_union_is_no_step_of_the_pointer() -> None:
    body = request()
    body["prescription"]["elements"][0]["glass"] = 7
    assert set(details(body)) == {"/prescription/elements/0/glass"}


@pytest.mark.parametrize(
    ("quantity", "limit"),
    [(0, 1), (10**9, 100_000), (-3, 1)],
)
def test_a_quantity_out_of_range_names_the_limit(quantity: int, limit: int) -> None:
    assert details(request(quantities=[quantity]))["/quantities/0"].limit == limit


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_number_that_is_none_is_refused_and_shown_as_text(value: float) -> None:
    body = request()
    body["prescription"]["elements"][0]["diameter_mm"] = value
    found = details(body)["/prescription/elements/0/diameter_mm"]
    assert isinstance(found.figure, str)
    json.dumps(found.model_dump(), allow_nan=False)


def test_spaces_that_do_not_match_the_elements_name_both_counts() -> None:
    body = request()
    body["prescription"]["spaces"] = [{"gap_mm": 1.0}]
    found = details(body)["/prescription/spaces"]
    assert (found.figure, found.limit) == (1, 0)


def test_pointers_escape_as_the_standard_says() -> None:
    assert pointer_into({"a/b": {"c~d": 1}}, ("a/b", "c~d"), "x") == "/a~1b/c~0d"


@given(st.text(max_size=300))
def test_whatever_was_sent_can_be_shown(text: str) -> None:
    json.dumps(shown(text)).encode()
    clean(text).encode("utf-8")


def test_a_lone_surrogate_can_be_shown() -> None:
    assert shown("\ud800x") == "?x"
    problem("invalid", "bad \ud800 text").model_dump_json()


def test_every_problem_type_has_a_status_a_title_and_a_remedy() -> None:
    for slug, (status, title, remedy) in PROBLEM_TYPES.items():
        assert 400 <= status < 600
        assert title
        assert remedy.endswith(".")
        assert problem_type(slug) == f"/problems#{slug}"


def test_a_type_that_is_not_in_the_table_is_an_error() -> None:
    with pytest.raises(KeyError):
        problem_type("mystery")


@pytest.mark.parametrize(
    ("changes", "pointer", "reason", "remedy"),
    [
        ({"currency": "usd"}, "/currency", "no code of a currency", "three capital letters, as USD"),
        ({"confidence": 90}, "/confidence", "not below 1", "90 % is written 0.9"),
        ({"needed_by": "25.12.2026"}, "/needed_by", "it is no date", "a date as 2027-03-01"),
        ({"quantities": list(range(1, 31))}, "/quantities", "it has 30 entries, and at most 20 are taken", "at most 20 entries"),
        ({"quantities": []}, "/quantities", "it is empty, and at least 1 is needed", "at least 1 entry"),
    ],
)
def test_what_the_validator_found_is_said_without_its_jargon(
    changes: dict[str, Any], pointer: str, reason: str, remedy: str
) -> None:  # fmt: skip
    found = details(request(**changes))[pointer]
    assert reason in found.reason
    assert remedy in (found.remedy or "")


def test_a_name_is_not_told_by_a_regular_expression_and_a_demand_is_not_asked_to_be_a_text() -> None:
    body = request()
    element = body["prescription"]["elements"][0]
    element["name"] = "L/1"
    element["front"] = FACE | {"coating": {"wrong": 1}}
    found = details(body)
    assert "such as L1" in (found["/prescription/elements/0/name"].remedy or "")
    assert "/prescription/elements/0/front/coating" not in found
    assert "/prescription/elements/0/front/coating/wrong" in found
