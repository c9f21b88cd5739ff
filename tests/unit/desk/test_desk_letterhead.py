"""The commands of the seller's letterhead: what is sent, with which ETag, and what is said."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
import pytest
from typer.testing import CliRunner

from services.client import Client
from services.desk.command import app
from services.desk.commands.letterhead import put_first_letterhead
from shared_schemas.letterhead import Letterhead

ROOT = Path(__file__).resolve().parents[3]
DEMO = ROOT / "services/desk/demo/seller/letterhead.json"
KEPT = json.loads((ROOT / "shared_schemas/examples/KeptLetterhead.json").read_text(encoding="utf-8"))
ANY_SERVER = ["--url", "http://desk.test", "--key", "k"]
MISSING = (404, {"type": "/problems#not-found", "title": "There is no letterhead yet", "status": 404, "detail": "None."})


def kept() -> httpx.Response:
    return httpx.Response(200, json=KEPT, headers={"ETag": '"letterhead-3"'})


def run(*arguments: str) -> Any:
    return CliRunner().invoke(app, ["letterhead", *arguments, *ANY_SERVER])


@pytest.fixture
def served(server: Callable[..., Any], reach: Callable[[httpx.BaseTransport], None]) -> Callable[..., Any]:
    def serving(*answers: Any) -> Any:
        made = server(*answers)
        reach(made.transport)
        return made

    return serving


def test_the_letterhead_is_shown_line_by_line(served: Callable[..., Any]) -> None:
    served(kept())
    told = run("show").output
    assert "Halden & Marsh Optical Works" in told
    assert "640 x 200 pixels, image/png" in told


def test_a_file_takes_the_place_of_the_letterhead_that_was_read(served: Callable[..., Any]) -> None:
    desk = served(kept())
    assert run("set", str(DEMO)).exit_code == 0
    read, put = desk.requests
    assert (read.method, put.method, put.headers["If-Match"]) == ("GET", "PUT", '"letterhead-3"')
    assert json.loads(put.content) == json.loads(DEMO.read_text(encoding="utf-8"))


def test_a_logo_goes_as_it_is(served: Callable[..., Any], tmp_path: Path) -> None:
    desk = served(kept())
    picture = tmp_path / "mark.jpg"
    picture.write_bytes(b"\xff\xd8\xff")
    assert run("logo", str(picture)).exit_code == 0
    put = desk.requests[-1]
    assert (put.url.path, put.content, put.headers["Content-Type"]) == ("/v1/letterhead/logo", b"\xff\xd8\xff", "image/jpeg")


def test_a_file_that_is_no_letterhead_is_a_sentence(served: Callable[..., Any], tmp_path: Path) -> None:
    served(kept())
    broken = tmp_path / "broken.json"
    broken.write_text("{", encoding="utf-8")
    assert "it is not JSON" in " ".join(run("set", str(broken)).output.split())
    assert run("set", str(tmp_path / "nowhere.json")).exit_code == 2


def test_the_demo_enters_its_invented_seller_where_there_is_none(server: Callable[..., Any]) -> None:
    assert Letterhead.model_validate_json(DEMO.read_text(encoding="utf-8")).email.endswith(".example"), (
        "a name that nobody can have"
    )
    for answers, methods in (((MISSING, kept()), ["GET", "PUT"]), ((kept(),), ["GET"])):
        made = server(*answers)
        with Client(url="http://desk.test", key="k", transport=made.transport) as desk:
            put_first_letterhead(desk, DEMO)
        assert [request.method for request in made.requests] == methods
