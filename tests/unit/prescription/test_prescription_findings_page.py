"""The page of findings: complete because it is made from the code, true to it, and readable by people and programs."""

from __future__ import annotations

import ast
import asyncio
from html.parser import HTMLParser
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI

from services import prescription
from services.prescription.api import router
from services.prescription.domain.findings import CATALOGUE, Entry, finding_kinds, found
from services.prescription.findings_page import likes_html, page_of
from shared_schemas.check import FindingKind, FindingKindList

PACKAGE = Path(str(prescription.__file__)).parent


def get(**headers: str) -> httpx.Response:
    """The answer of the route to a caller whose key may."""
    app = FastAPI()
    app.include_router(router)
    for route in router.routes:
        for part in route.dependant.dependencies:  # type: ignore[attr-defined]  # every route here is an APIRoute
            app.dependency_overrides[part.call] = lambda: None

    async def ask() -> httpx.Response:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://test") as client:
            return await client.get("/v1/prescriptions/findings", headers=headers)

    return asyncio.run(ask())


def strings_of(path: Path) -> set[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {node.value for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)}


def codes_of_calls(path: Path) -> set[str]:
    """First arguments of every call of `found` that are written out."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    calls = [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "found"
    ]
    first = [call.args[0] for call in calls if call.args]
    return {
        leaf.value for node in first for leaf in ast.walk(node) if isinstance(leaf, ast.Constant) and isinstance(leaf.value, str)
    }


def test_every_code_that_the_package_calls_by_is_on_the_page() -> None:
    called = set().union(*(codes_of_calls(path) for path in PACKAGE.rglob("*.py")))
    assert called
    assert called <= {kind.code for kind in finding_kinds()}


def test_every_code_on_the_page_has_a_producer_outside_the_catalogue() -> None:
    written = set().union(*(strings_of(path) for path in PACKAGE.rglob("*.py") if path.name != "findings.py"))
    assert {kind.code for kind in finding_kinds()} <= written


def test_no_finding_is_made_past_the_catalogue() -> None:
    for path in PACKAGE.rglob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        made = [
            node
            for node in ast.walk(tree)
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Finding"
        ]
        assert not made or path.name == "findings.py", path


def test_the_page_is_the_catalogue_gravest_first() -> None:
    kinds = finding_kinds()
    assert {kind.code: Entry(kind.severity, kind.meaning, kind.source) for kind in kinds} == CATALOGUE
    assert [kind.severity for kind in kinds] == sorted((kind.severity for kind in kinds), key=["stop", "care", "note"].index)


@pytest.mark.parametrize("kind", finding_kinds(), ids=lambda kind: kind.code)
def test_every_kind_says_what_it_means_and_where_it_comes_from(kind: FindingKind) -> None:
    assert kind.meaning.endswith(".")
    assert kind.source
    made = found(kind.code, "/title", "said.", figure=1.0, limit=2.0, unit="mm", remedy="mend it")
    assert (made.severity, made.source, made.remedy) == (kind.severity, kind.source, "mend it")


def test_the_route_lists_them_as_json() -> None:
    answer = get()
    assert answer.status_code == 200
    assert FindingKindList.model_validate(answer.json()).items == finding_kinds()


class Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.anchors: list[str] = []
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.anchors += [value or "" for name, value in attrs if name == "id"]
        if tag != "meta":
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_the_route_shows_a_page_to_who_likes_html() -> None:
    answer = get(Accept="text/html,application/xhtml+xml,*/*;q=0.8")
    assert answer.headers["content-type"].startswith("text/html")
    reader = Reader()
    reader.feed(answer.text)
    assert reader.open == []
    assert reader.anchors == [kind.code for kind in finding_kinds()]


def test_the_page_escapes_what_it_shows() -> None:
    assert "<b>x" not in page_of([FindingKind(code="a", severity="note", meaning="<b>x", source="&")])


@pytest.mark.parametrize(
    ("accept", "html"),
    [("application/json", False), ("text/html", True), ("*/*", False), ("", False), ("text/html;q=0.5, application/json", False),
     ("text/*, application/json;q=0.2", True), ("text/html;q=x", True), ("image/png", False)],
)  # fmt: skip
def test_json_is_sent_unless_html_is_liked_better(accept: str, html: bool) -> None:
    assert likes_html(accept) is html
