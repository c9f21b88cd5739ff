"""Whatever is sent, the answer is a problem document that names the place, the figure, the limit and what would do."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from typing import Any

import httpx
import pytest

ClientOf = Callable[[str | None], httpx.Client]


def element(request: dict[str, Any], number: int = 0) -> dict[str, Any]:
    found: dict[str, Any] = request["prescription"]["elements"][number]
    return found


def set_thickness(request: dict[str, Any]) -> None:
    element(request)["centre_thickness_mm"] = -1.0


def set_diameter(request: dict[str, Any]) -> None:
    element(request)["diameter_mm"] = 0


def shrink_radius(request: dict[str, Any]) -> None:
    element(request)["front"]["radius_mm"] = 4.0


def name_no_glass(request: dict[str, Any]) -> None:
    element(request)["glass"] = "N-BK77"


def drop_a_space(request: dict[str, Any]) -> None:
    request["prescription"]["spaces"].pop()


def write_a_number_as_text(request: dict[str, Any]) -> None:
    element(request)["diameter_mm"] = "30"


def misspell(request: dict[str, Any]) -> None:
    request["quantity"] = 5


def forget_the_title(request: dict[str, Any]) -> None:
    del request["prescription"]["title"]


def ask_for_none(request: dict[str, Any]) -> None:
    request["quantities"] = [0]


def ask_for_a_billion(request: dict[str, Any]) -> None:
    request["quantities"] = [10**9]


def pay_in_shells(request: dict[str, Any]) -> None:
    request["currency"] = "XSH"


def five_hundred_elements(request: dict[str, Any]) -> None:
    one = element(request)
    request["prescription"]["elements"] = [{**one, "name": f"L{i}"} for i in range(500)]


def certain(request: dict[str, Any]) -> None:
    request["confidence"] = 1.0


def yesterday(request: dict[str, Any]) -> None:
    request["needed_by"] = "2020-01-01"


def no_such_class(request: dict[str, Any]) -> None:
    request["customer_class"] = "royal"


def twice_the_same(request: dict[str, Any]) -> None:
    request["quantities"] = [5, 5]


def a_nul(request: dict[str, Any]) -> None:
    request["customer"] = "a\x00b"


CASES: list[tuple[Callable[[dict[str, Any]], None], str]] = [
    (set_thickness, "/prescription/elements/0/centre_thickness_mm"),
    (set_diameter, "/prescription/elements/0/diameter_mm"),
    (shrink_radius, "/prescription/elements/0/front/radius_mm"),
    (name_no_glass, "/prescription/elements/0/glass"),
    (drop_a_space, "/prescription/spaces"),
    (write_a_number_as_text, "/prescription/elements/0/diameter_mm"),
    (misspell, "/quantity"),
    (forget_the_title, "/prescription/title"),
    (ask_for_none, "/quantities/0"),
    (ask_for_a_billion, "/quantities/0"),
    (pay_in_shells, "/currency"),
    (five_hundred_elements, "/prescription/elements"),
    (certain, "/confidence"),
    (yesterday, "/needed_by"),
    (no_such_class, "/customer_class"),
    (twice_the_same, "/quantities/1"),
    (a_nul, "/customer"),
]


def is_problem(answer: httpx.Response) -> dict[str, Any]:
    assert answer.headers["content-type"] == "application/problem+json", answer.text
    document: dict[str, Any] = answer.json()
    assert document["status"] == answer.status_code
    assert document["title"]
    assert document["detail"]
    assert document["instance"].startswith("/requests/")
    return document


@pytest.mark.parametrize(("spoil", "pointer"), CASES, ids=[case[0].__name__ for case in CASES])
def test_a_wrong_value_is_named_with_what_would_do(
    sales: httpx.Client, demo: dict[str, Any], spoil: Callable[[dict[str, Any]], None], pointer: str
) -> None:
    request = copy.deepcopy(demo)
    spoil(request)
    answer = sales.post("/v1/quotes", json=request)
    assert answer.status_code == 422, answer.text
    errors = {error["pointer"]: error for error in is_problem(answer)["errors"]}
    assert pointer in errors, errors
    assert errors[pointer]["reason"]
    assert errors[pointer].get("remedy"), errors[pointer]


@pytest.mark.parametrize("word", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_a_number_that_is_none_is_refused(sales: httpx.Client, demo: dict[str, Any], word: str) -> None:
    element(demo)["diameter_mm"] = 12345.678
    body = json.dumps(demo).replace("12345.678", word)
    answer = sales.post("/v1/quotes", content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code in (400, 422)
    is_problem(answer)


@pytest.mark.parametrize(
    "body",
    [b"", b"{", b'{"a": }', b"\xff\xfe", b"[]", b'"text"', b"null", b"7", b"[" * 100_000, b'{"title": "\\ud800"}', b"9" * 5000],
)
def test_what_is_not_a_request_is_refused(sales: httpx.Client, body: bytes) -> None:
    answer = sales.post("/v1/quotes", content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code in (400, 422), answer.text
    is_problem(answer)


@pytest.mark.parametrize("depth", [100, 500, 900, 990, 5000, 50_000])
@pytest.mark.parametrize("path", ["/v1/quotes", "/v1/prescriptions/check", "/v1/blanks/plan"])
def test_a_document_nested_however_deep_is_refused(client_of: ClientOf, path: str, depth: int) -> None:
    inside = "[" * depth + "]" * depth
    for body in (
        inside,
        f'{{"x": {inside}}}',
        f'{{"prescription": {{"elements": {inside}}}}}',
        '{"prescription":' * depth + "1" + "}" * depth,
    ):
        answer = client_of("admin").post(path, content=body, headers={"Content-Type": "application/json"})
        assert answer.status_code in (400, 422), answer.text
        is_problem(answer)


def test_a_head_of_a_megabyte_is_refused(sales: httpx.Client) -> None:
    answer = sales.get("/v1/quotes", headers={"X-Much": "a" * 2**20})
    assert answer.status_code == 431
    is_problem(answer)


def test_every_answer_tells_a_browser_to_be_careful_and_no_answer_names_the_server(client_of: ClientOf) -> None:
    stranger = client_of(None)
    big = b" " * (1024 * 1024 + 1)
    for answer in (
        stranger.get("/healthz"), stranger.get("/docs"), stranger.get("/problems"), stranger.get("/v1/quotes"),
        stranger.get("/v1/nothing"), stranger.put("/v1/quotes"), stranger.post("/v1/quotes", content=big),
    ):  # fmt: skip
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert "default-src 'none'" in answer.headers["content-security-policy"]
        assert answer.headers["cache-control"] == "no-store"
        assert "server" not in answer.headers


def test_a_body_of_another_kind_is_refused(sales: httpx.Client) -> None:
    answer = sales.post("/v1/quotes", content=b"<quote/>", headers={"Content-Type": "application/xml"})
    assert answer.status_code in (415, 422)
    is_problem(answer)


def test_a_body_over_one_mebibyte_is_refused_with_and_without_its_length(sales: httpx.Client) -> None:
    big = b"[" + b" " * (1024 * 1024) + b"]"
    assert sales.post("/v1/quotes", content=big, headers={"Content-Type": "application/json"}).status_code == 413
    pieces = (big[i : i + 65536] for i in range(0, len(big), 65536))
    assert sales.post("/v1/quotes", content=pieces, headers={"Content-Type": "application/json"}).status_code == 413


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("POST", "/v1/quotes"),
        ("GET", "/v1/quotes"),
        ("GET", "/v1/quotes/Q-2026-000001"),
        ("POST", "/v1/prescriptions/check"),
        ("GET", "/v1/estimates"),
        ("GET", "/v1/rates/revisions"),
        ("PUT", "/v1/rates/tables/glasses"),
        ("POST", "/v1/blanks/plan"),
        ("POST", "/v1/operations/plan"),
    ],
)
def test_without_a_key_or_with_a_wrong_one_nothing_is_told(box: Any, method: str, path: str) -> None:
    for header in (
        {},
        {"Authorization": "Bearer bw_abc_def"},
        {"Authorization": "Basic abc"},
        {"Authorization": b"Bearer bw_\xc3\xa9_x"},
    ):
        answer = httpx.request(method, box.url + path, headers=header, json={})
        assert answer.status_code == 401, answer.text
        assert answer.headers["www-authenticate"].startswith("Bearer")
        is_problem(answer)


@pytest.mark.parametrize(
    ("role", "method", "path"),
    [
        ("erp", "POST", "/v1/quotes"),
        ("sales", "GET", "/v1/estimates"),
        ("sales", "PUT", "/v1/rates/tables/glasses"),
        ("erp", "PUT", "/v1/rates/tables/glasses"),
        ("erp", "POST", "/v1/blanks/plan"),
        ("engineer", "POST", "/v1/quotes"),
    ],
)
def test_a_role_that_may_not_is_told_which_may(client_of: ClientOf, role: str, method: str, path: str) -> None:
    answer = client_of(role).request(method, path, json={})
    assert answer.status_code == 403
    assert role in is_problem(answer)["detail"]


@pytest.mark.parametrize("path", ["/v1/quotes/Q-1999-000000", "/v1/nothing", "/v1/quotes/%00", "/v1/quotes/" + "9" * 3000])
def test_what_is_not_there_is_not_found(sales: httpx.Client, path: str) -> None:
    answer = sales.get(path)
    assert answer.status_code == 404, answer.text
    is_problem(answer)


@pytest.mark.parametrize("cursor", ["%%%", "AAAA", "cTA5OTk5OTk5OTk5OTk5OTk5OTk5OTk5OTk5OQ", "\u00e9"])
def test_a_cursor_of_nobody_is_refused(sales: httpx.Client, cursor: str) -> None:
    answer = sales.get("/v1/quotes", params={"cursor": cursor})
    assert answer.status_code == 422
    is_problem(answer)
