"""What every page has: its frame, its headers, its style and its script, from our own origin."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.resources import files
from typing import Any

from fastapi import Response

from services.chassis.pages import page_templates
from services.desk.pages.wording import amount, day, figure, moment, sentence, share

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; form-action 'self'; "
    "frame-ancestors 'none'; base-uri 'none'"
)
HEADERS = {"Content-Security-Policy": POLICY, "Cache-Control": "no-store", "Referrer-Policy": "same-origin"}
"""With `same-origin` a browser says whence a form comes; other sites still learn nothing."""

KINDS = {"pages.css": "text/css; charset=utf-8", "pages.js": "text/javascript; charset=utf-8"}


class Said(dict[str, str]):
    """What was typed or asked, by field; a field that was left alone says nothing."""

    def __missing__(self, name: str) -> str:
        return ""


@cache
def content_of(name: str) -> bytes:
    """A file of ours, as it lies beside this code."""
    return files("services.desk.pages").joinpath(name).read_bytes()


@cache
def address_of(name: str) -> str:
    """Where a file of ours is, by its content: a release with another one has another address."""
    stem, _, ending = name.partition(".")
    return f"/static/{stem}-{hashlib.sha256(content_of(name)).hexdigest()[:12]}.{ending}"


def static_file(address: str) -> Response | None:
    """The file at an address, which never changes; `None` where there is none."""
    for name, kind in KINDS.items():
        if address == address_of(name):
            headers = {"Cache-Control": "public, max-age=31536000, immutable"}
            return Response(content_of(name), media_type=kind, headers=headers)
    return None


def page(template: str, *, status: int = 200, **filled: Any) -> Response:
    """A page of a template beside this code."""
    environment = page_templates("services.desk.pages")
    environment.filters.update(amount=amount, day=day, figure=figure, moment=moment, sentence=sentence, share=share)
    text = environment.get_template(template).render(address_of=address_of, **filled)
    return Response(text, status, media_type="text/html", headers=HEADERS)
