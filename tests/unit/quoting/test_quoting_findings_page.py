"""The page of findings: the whole catalogue, readable by people and programs."""

from __future__ import annotations

import asyncio
from html.parser import HTMLParser

import httpx
import pytest
from fastapi import FastAPI

from services.quoting.api.findings import prefers_html, router
from shared_schemas.check import FindingKindList
from shared_schemas.finding_kinds import finding_kinds


def get(**headers: str) -> httpx.Response:
    """The answer of the route to a caller whose key may."""
    app = FastAPI()
    app.include_router(router)
    for route in router.routes:
        for part in route.dependant.dependencies:  # type: ignore[attr-defined]  # every route here is an APIRoute
            app.dependency_overrides[part.call] = lambda: None

    async def ask() -> httpx.Response:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://test") as client:
            return await client.get("/v1/findings", headers=headers)

    return asyncio.run(ask())


def test_the_route_lists_them_as_json() -> None:
    answer = get()
    assert answer.status_code == 200
    assert FindingKindList.model_validate(answer.json()).items == finding_kinds()


class Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.anchors: list[str] = []
        self.open: list[str] = []
        self.words = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.anchors += [value or "" for name, value in attrs if name == "id"]
        if tag != "meta":
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words += data


def test_the_route_shows_a_page_to_who_prefers_html() -> None:
    answer = get(Accept="text/html,application/xhtml+xml,*/*;q=0.8")
    assert answer.headers["content-type"].startswith("text/html")
    assert answer.headers["vary"] == "Accept"
    reader = Reader()
    reader.feed(answer.text)
    assert reader.open == []
    assert reader.anchors == [kind.code for kind in finding_kinds()]
    for kind in finding_kinds():
        assert kind.meaning in reader.words
        assert kind.source in reader.words


@pytest.mark.parametrize(
    ("accept", "html"),
    [("application/json", False), ("text/html", True), ("*/*", False), ("", False), ("text/html;q=0.5, application/json", False),
     ("text/*, application/json;q=0.2", True), ("text/html;q=x", False), ("image/png", False)],
)  # fmt: skip
def test_json_is_sent_unless_html_is_preferred(accept: str, html: bool) -> None:
    assert prefers_html(accept) is html
