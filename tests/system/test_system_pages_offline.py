"""Every page of the suite is whole without any other host: looked through for addresses, and loaded in a browser that can reach none."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass, field
from html.parser import HTMLParser
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread
from typing import Any
from urllib.parse import urlsplit

import httpx
import pytest

ORIGIN = "http://pages.invalid"
ABROAD = "elsewhere.invalid"
BROWSERS = [place for name in ("chromium", "chromium-browser", "google-chrome") if (place := shutil.which(name))][:1]
ASKED_BY_BROWSERS = (".google.com", ".googleapis.com", ".gvt1.com", ".gstatic.com")
"""What a browser looks for on its own account, with whatever page."""
TAKES = {"src", "srcset", "action", "data", "poster", "background", "formaction"}


@pytest.fixture(scope="module")
def pages(
    client_of: Callable[[str | None], httpx.Client], quoted: Callable[..., dict[str, Any]], sales: httpx.Client
) -> dict[str, httpx.Response]:
    """Each page by its name, as the box answers it."""
    demo = next((Path(__file__).resolve().parents[2] / "services" / "desk" / "demo").glob("lake_*.json")).read_text(
        encoding="utf-8"
    )
    number = quoted(sales, httpx.Response(200, text=demo).json())["number"]
    html = {"Accept": "text/html"}
    return {
        "docs": client_of(None).get("/docs"),
        "problems": client_of(None).get("/problems"),
        "findings": sales.get("/v1/findings", headers=html),
        "sheet": sales.get(f"/v1/quotes/{number}/sheet", headers=html),
    }


class Taken(HTMLParser):
    """What a page takes from somewhere by itself; where its links lead is another matter."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.places: list[str] = []
        self.scripts = 0
        self.feed(page)
        self.places += re.findall(r"url\(([^)]*)\)|@import\s+\S+", page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.scripts += tag == "script" or any(name.startswith("on") for name, _ in attrs)
        self.places += [value or "" for name, value in attrs if name in TAKES or (tag == "link" and name == "href")]


@pytest.mark.parametrize("name", ["docs", "problems", "findings", "sheet"])
def test_a_page_takes_nothing_from_elsewhere_and_its_policy_lets_it_take_nothing(
    pages: dict[str, httpx.Response], name: str
) -> None:  # fmt: skip
    page = pages[name]
    assert page.status_code == 200
    assert page.headers["Content-Type"].startswith("text/html")
    assert Taken(page.text).places == []
    assert Taken(page.text).scripts == 0
    policy = page.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert re.findall(r"https?:|\*|//", policy) == []


def test_the_description_names_every_operation_and_every_schema(pages: dict[str, httpx.Response], box: Any) -> None:
    document = httpx.get(f"{box.url}/openapi.json").json()
    for path, operations in document["paths"].items():
        for operation in operations.values():
            assert f'id="{operation["operationId"]}"' in pages["docs"].text, path
    anchors = set(re.findall(r' id="([^"]*)"', pages["docs"].text))
    assert {f"schema-{name}" for name in document["components"]["schemas"]} <= anchors
    assert set(re.findall(r'href="#([^"]*)"', pages["docs"].text)) <= anchors


@dataclass
class Recorder:
    """Every host there is, as far as a browser knows that is sent to it for all: pages of ours, and nothing elsewhere."""

    pages: dict[str, tuple[bytes, str]]
    hosts: list[str] = field(default_factory=list)
    paths: list[str] = field(default_factory=list)

    def serve(self) -> ThreadingHTTPServer:
        recorder = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                asked = urlsplit(self.path)
                recorder.hosts.append(asked.netloc)
                recorder.paths.append(asked.path)
                body, policy = recorder.pages.get(asked.path, (b"", "")) if f"http://{asked.netloc}" == ORIGIN else (b"", "")
                self.send_response(200 if body else 404)
                self.send_header("Content-Type", "text/html; charset=utf-8")
                self.send_header("Content-Length", str(len(body)))
                if policy:
                    self.send_header("Content-Security-Policy", policy)
                self.end_headers()
                self.wfile.write(body)

            def do_CONNECT(self) -> None:
                recorder.hosts.append(self.path.partition(":")[0])
                self.send_error(502)

            def log_message(self, format: str, *args: Any) -> None:
                pass

        server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        Thread(target=server.serve_forever, daemon=True).start()
        return server


@pytest.fixture(params=BROWSERS)
def browser(request: pytest.FixtureRequest) -> str:
    """A browser without a window, where there is one."""
    found: str = request.param
    return found


def test_in_a_browser_no_page_asks_another_host(browser: str, pages: dict[str, httpx.Response], tmp_path: Path) -> None:
    # One start for all pages: they lie in frames, for which alone their policy is loosened. The picture shows that a question would be seen.
    shown = {
        f"/{name}": (
            page.content,
            page.headers["Content-Security-Policy"].replace("frame-ancestors 'none'", f"frame-ancestors {ORIGIN}"),
        )
        for name, page in pages.items()
    }
    frames = "".join(f'<iframe src="{path}"></iframe>' for path in shown)
    recorder = Recorder({"/": (f'<!doctype html><img src="http://{ABROAD}/x.png">{frames}'.encode(), ""), **shown})
    server = recorder.serve()
    try:
        subprocess.run(
            [browser, "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update", "--no-first-run",
             f"--user-data-dir={tmp_path}", f"--proxy-server=http://127.0.0.1:{server.server_port}", "--dump-dom", f"{ORIGIN}/"],
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, timeout=60, check=True,
        )  # fmt: skip
    finally:
        server.shutdown()
        server.server_close()
    assert set(shown) <= set(recorder.paths)
    assert ABROAD in recorder.hosts
    assert {host for host in recorder.hosts if not host.endswith(ASKED_BY_BROWSERS)} == {"pages.invalid", ABROAD}
