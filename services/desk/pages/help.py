"""The guides as pages: one for each desk, for everybody, without a key."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

from fastapi import Response
from markdown_it import MarkdownIt
from markupsafe import Markup

from services.desk.pages.frame import page

GUIDES = ("sales", "estimator", "engineer", "erp", "operator")
"""In the order in which they are offered."""


@dataclass(frozen=True)
class Guide:
    """A guide: the name that its address has, its heading, what it is about, and the whole of it as HTML."""

    name: str
    heading: str
    about: str
    body: Markup


def _place(name: str) -> Path:
    """In an image the guides lie in this package, in a checkout in `deploy/docs`."""
    packed = Path(__file__).with_name(f"{name}.md")
    return packed if packed.exists() else Path(__file__).parents[3] / "deploy" / "docs" / f"{name}.md"


@cache
def guide(name: str) -> Guide:
    """A guide of `GUIDES`."""
    text = _place(name).read_text(encoding="utf-8")
    heading, _, rest = text.partition("\n")
    html = MarkdownIt("commonmark", {"html": False}).render(rest)
    about = next(paragraph for paragraph in rest.split("\n\n") if paragraph.strip())
    # What scrolls must be reached by keyboard; the guides are ours, and HTML in them stays text.
    body = Markup(html.replace("<pre>", '<pre tabindex="0">'))  # nosec B704
    return Guide(name, heading.removeprefix("# "), about.strip(), body)


def help_page() -> Response:
    """Which guides there are."""
    return page("help.html", signed_in=False, guides=[guide(name) for name in GUIDES])


def guide_page(name: str) -> Response | None:
    """One guide; `None` where there is none of that name."""
    return page("guide.html", signed_in=False, guide=guide(name)) if name in GUIDES else None
