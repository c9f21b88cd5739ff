"""What pictures of the sheet are written with: texts that XML takes, and figures without needless decimals."""

from __future__ import annotations

from xml.sax.saxutils import escape  # nosec B406  it parses nothing

from services.chassis.pages import printable

FONT = "'Libertinus Serif',Georgia,serif"
"""The font of the sheet: on paper the compiler has the first, a browser has one of the others."""


def written(text: str) -> str:
    """Text as it stands in the markup of a picture: on one line, without the control characters that XML does not allow."""
    return escape(str(printable(text)).replace("\n", " "))


def number(figure: float) -> str:
    """A figure of a picture: two decimals, no more than are needed."""
    shown = f"{figure:.2f}".rstrip("0").rstrip(".")
    return "0" if shown == "-0" else shown
