"""What pictures of the sheet are written with: texts that XML takes, and figures without needless decimals."""

from __future__ import annotations

from xml.sax.saxutils import escape  # nosec B406  it parses nothing


def printable(text: str) -> str:
    """Text for a picture: without the control characters that XML does not allow."""
    return "".join(sign for sign in text if sign.isprintable())


def written(text: str) -> str:
    """Text as it stands in the markup of a picture."""
    return escape(printable(text))


def number(figure: float) -> str:
    """A figure of a picture: two decimals, no more than are needed."""
    shown = f"{figure:.2f}".rstrip("0").rstrip(".")
    return "0" if shown == "-0" else shown
