"""`make pages-check`: the pages of the desk in Debian's Chromium, as a person uses them.

    python -m tests.pages [--shots FOLDER]

A box of its own is started in a temporary folder. A morning is gone through with scripts and once more without: signing in, a pasted table with
a question, the draft, the quote as it is worked out, why a figure is what it is, the offer, a decision, the search, the rates. Each page is held
against the rules of axe-core, light and dark, on a desk and on a phone, parsed strictly as HTML, and must not be wider than a phone. It needs a
Chromium (`/usr/bin/chromium`, or CHROMIUM) and downloads none.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import html5lib
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, sync_playwright

from services.chassis.one_box import Address, erase, start, stop

CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
DESK, PHONE = {"width": 1200, "height": 900}, {"width": 320, "height": 640}
TABLE = """Surface;Radius;Thickness;Glass;Diameter
1;61,47;6,0;N-BK7;30
2;-43,2;2,5;N-SF5;30
3;-126,3;;;30
10/50/200 pcs"""
ASKING = TABLE.replace("-43,2", "-4,32")
"""A decimal that slipped: the draft asks."""


class NotAsPromised(Exception):
    """What a page did or said that it should not."""


class Visitor:
    """A person at a browser, who has every page looked over."""

    def __init__(self, browser: Browser, box: Address, shots: Path, *, scripts: bool) -> None:
        self.box = box
        self.shots = shots
        self.scripts = scripts
        self.faults: list[str] = []
        self.rules = 0
        self.pages = 0
        self.context = browser.new_context(java_script_enabled=scripts, viewport=DESK)
        self.page: Page = self.context.new_page()
        self.page.on(
            "console",
            lambda said: (
                self.faults.append(f"console: {said.text}") if said.type == "error" and "status of" not in said.text else None
            ),
        )
        self.page.on(
            "requestfailed",
            lambda asked: self.faults.append(f"not had: {asked.url}") if "ERR_ABORTED" not in str(asked.failure) else None,
        )
        self.page.on(
            "request",
            lambda asked: None if asked.url.startswith((box.url, "data:")) else self.faults.append(f"asked elsewhere: {asked.url}"),
        )

    def go(self, path: str) -> None:
        """Open a page of the suite."""
        self.page.goto(self.box.url + path)

    def look(self, name: str) -> None:
        """Hold the page that is open against the rules, in every form it comes in."""
        self.pages += 1
        html5lib.HTMLParser(strict=True).parse(self.page.content())
        for scheme in ("light", "dark"):
            self.page.emulate_media(color_scheme=scheme)
            for form, size in (("desk", DESK), ("phone", PHONE)):
                self.page.set_viewport_size(size)
                self.page.screenshot(path=self.shots / f"{name}-{form}-{scheme}.png", full_page=True)
                if not self.scripts:
                    continue
                found = Axe().run(self.page).response
                self.rules += len(found["passes"])
                for one in found["violations"]:
                    places = "; ".join(str(node["target"]) for node in one["nodes"][:3])
                    self.faults.append(f"{name}, {form}, {scheme}: {one['id']} ({one['help']}) at {places}")
                wide = self.page.evaluate("document.documentElement.scrollWidth")
                if wide > size["width"]:
                    self.faults.append(f"{name}, {form}: {wide} px wide on {size['width']}")
        self.page.set_viewport_size(DESK)
        self.page.emulate_media(color_scheme="light")

    def sign_in(self, role: str) -> None:
        """Show a key."""
        self.go("/sign-in")
        self.page.fill("#key", self.box.keys[role])
        self.page.click("main button")
        self.page.wait_for_url(f"{self.box.url}/")

    def expect(self, words: str) -> None:
        """The page says so."""
        if words not in self.page.inner_text("main"):
            raise NotAsPromised(f"{self.page.url} does not say {words!r}: {self.page.inner_text('main')[:400]}")


def morning(visitor: Visitor) -> str:
    """What a person of the sales desk does; the number of the quote."""
    page, look = visitor.page, visitor.look
    visitor.go("/")
    look("1-sign-in")
    for guide in ("", "/sales", "/engineer"):
        visitor.go(f"/help{guide}")
        look(f"0-help{guide.replace('/', '-')}")
    visitor.sign_in("sales")
    look("2-start")
    page.fill("#text", ASKING)
    page.click("text=Read it")
    visitor.expect("question")
    look("3-asked")
    page.click("main fieldset input[type=radio] >> nth=0")
    page.click("text=Read it again")
    page.fill("#text", TABLE) if page.query_selector("#text") else None
    visitor.expect("The lens")
    look("4-draft")
    page.click("text=It is right")
    page.wait_for_url("**/quotes/Q-*")
    number = page.url.rpartition("/")[2]
    page.wait_for_selector("#prices", timeout=60_000)
    look("5-quote")
    page.click("#prices ~ .scroll a.why >> nth=0")
    page.wait_for_selector(".explained")
    look("6-why")
    visitor.go(f"/quotes/{number}")
    page.fill("#by", "E. Example")
    page.fill("#purchase_order", "PO 17")
    page.click("text=Record the acceptance")
    visitor.expect("Accepted")
    look("7-accepted")
    visitor.go("/quotes?text=%25%27%22%3C")
    visitor.expect("No quote is like that")
    look("8-nothing-found")
    visitor.go("/quotes?state=accepted")
    visitor.expect(number)
    look("9-found")
    visitor.go("/quotes/Q-2026-999999")
    look("10-not-there")
    return number


def of_engineers(visitor: Visitor) -> None:
    """What an engineer reads."""
    visitor.sign_in("engineer")
    visitor.go("/rates")
    visitor.look("11-rates")
    visitor.go("/rates/polishing")
    visitor.look("12-table")


@contextmanager
def box() -> Iterator[Address]:
    """A one box that is gone afterwards."""
    with tempfile.TemporaryDirectory() as folder:
        try:
            yield start(Path(folder))
        finally:
            stop(Path(folder))
            erase(Path(folder))


def main() -> int:
    """Go through it all; 0 where nothing is at fault."""
    parser = argparse.ArgumentParser(prog="python -m tests.pages")
    parser.add_argument("--shots", type=Path, default=Path(tempfile.gettempdir()) / "pages", help="where the pictures go")
    shots = parser.parse_args().shots
    if not Path(CHROMIUM).exists():
        print(
            f"pages-check: there is no Chromium at {CHROMIUM}; install the package chromium, or name one in CHROMIUM",
            file=sys.stderr,
        )
        return 2
    shots.mkdir(parents=True, exist_ok=True)
    faults: list[str] = []
    with box() as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        for scripts in (True, False):
            visitor = Visitor(browser, address, shots / ("scripts" if scripts else "no-scripts"), scripts=scripts)
            visitor.shots.mkdir(exist_ok=True)
            began = time.monotonic()
            morning(visitor)
            if scripts:
                of_engineers(visitor)
            took_s = time.monotonic() - began
            print(
                f"{'with' if scripts else 'without'} scripts: {visitor.pages} pages, {visitor.rules} rules passed, {took_s:.0f} s"
            )
            faults += visitor.faults
        browser.close()
    for fault in dict.fromkeys(faults):
        print(fault)
    print(f"{len(set(faults))} faults; pictures are in {shots}")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
