"""The description of the running suite: OpenAPI 3.1, valid, every route with a summary and its errors."""

from __future__ import annotations

from typing import Any

import httpx
import pytest
from openapi_spec_validator import validate

from services.chassis.one_box import Address
from services.chassis.version import VERSION


@pytest.fixture(scope="module")
def document(box: Address) -> dict[str, Any]:
    found: dict[str, Any] = httpx.get(f"{box.url}/openapi.json", timeout=60).json()  # the first to ask has it made
    return found


def operations(document: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    return [(f"{method} {path}", one) for path, of_path in document["paths"].items() for method, one in of_path.items()]


def test_the_description_is_valid_openapi_3_1(document: dict[str, Any]) -> None:
    assert document["openapi"].startswith("3.1")
    validate(document)


def test_every_route_has_a_summary(document: dict[str, Any]) -> None:
    assert [name for name, one in operations(document) if not one.get("summary")] == []


def test_every_route_with_a_key_declares_what_it_refuses_as_problems(document: dict[str, Any]) -> None:
    for name, one in operations(document):
        if "/v1/" in name:
            assert {"401", "403", "500", "503"} <= set(one["responses"]), name
            assert one.get("security"), name
            for status, answer in one["responses"].items():
                if status[0] in "45":
                    assert list(answer["content"]) == ["application/problem+json"], (name, status)


def test_an_address_names_every_method_that_it_takes(box: Address) -> None:
    for path, methods in {
        "/v1/quotes": "GET, HEAD, OPTIONS, POST",
        "/v1/rates/tables/work_centres": "GET, HEAD, OPTIONS, PUT",
        "/healthz": "GET, HEAD, OPTIONS",
    }.items():
        told = httpx.options(f"{box.url}{path}")
        assert (told.status_code, told.content, told.headers["Allow"]) == (204, b"", methods)
        refused = httpx.patch(f"{box.url}{path}")
        assert (refused.status_code, refused.headers["Allow"]) == (405, methods)
        assert refused.headers["Content-Type"] == "application/problem+json"


def test_a_head_is_that_of_the_page_without_the_page(box: Address) -> None:
    page, head = httpx.get(f"{box.url}/problems"), httpx.head(f"{box.url}/problems")
    assert (head.status_code, head.content) == (200, b"")
    assert head.headers["Content-Length"] == page.headers["Content-Length"]


def test_the_pages_of_the_description_are_served(box: Address) -> None:
    assert httpx.get(f"{box.url}/docs").status_code == 200
    page = httpx.get(f"{box.url}/problems").text
    assert 'id="invalid"' in page


def test_the_process_says_whether_it_lives_and_can_work(box: Address) -> None:
    for path in ("/livez", "/healthz"):
        assert httpx.get(f"{box.url}{path}").json() == {"status": "alive", "version": VERSION}
    assert httpx.get(f"{box.url}/openapi.json", timeout=60).json()  # the first to ask has it made["info"]["x-release"] == VERSION
    found = httpx.get(f"{box.url}/readyz").json()
    workers = found["parts"].pop("workers")
    assert found["ready"] is True
    assert {"postgresql": "yes", "writes": "yes", "redis": "yes"}.items() <= found["parts"].items()
    assert workers == "yes" or workers.startswith("no: no sign of life"), "the first beat may be ten seconds away"


def test_a_method_that_nobody_knows_is_a_problem_too(box: Address) -> None:
    answer = httpx.request("FOO", f"{box.url}/v1/quotes")
    assert (answer.status_code, answer.headers["Content-Type"]) == (501, "application/problem+json")
    assert answer.json()["type"] == "/problems#method-unknown"
