"""Pages of HTML: Jinja2 templates that lie beside the code which fills them. Whatever is filled in is text, never markup."""

from __future__ import annotations

from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

KEPT = "\n\u00a0\u202f"
"""What a page keeps of all that Python takes for no printable sign: an end of a line, and the spaces at which no line ends, as in French figures."""


@cache
def page_templates(package: str) -> Environment:
    """The templates of a package, such as `page_templates(__package__).get_template("page.html").render(...)`.

    A name that a template uses and nobody gave is an error, not an empty place.
    """
    return Environment(
        loader=PackageLoader(package, "."),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=printable,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


def printable(words: Any) -> Any:
    """What is filled in, without control characters (such as those that turn the direction of text round); markup stays as it is."""
    if isinstance(words, Markup):
        return words
    return "".join(sign for sign in str(words) if sign.isprintable() or sign in KEPT)
