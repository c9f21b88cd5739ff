"""Cells of CSV that a spreadsheet would take for a formula, made harmless on the way out and the same again on the way in."""

from __future__ import annotations

import re

_FORMULA = re.compile(r"'*[=+\-@\t\r]")
_GUARDED = re.compile(r"'+[=+\-@\t\r]")
_FIGURE = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


def guarded(text: str) -> str:
    """A cell with an apostrophe before it, when a spreadsheet would calculate it; figures such as -1.5 stay as they are.

    Source:
        OWASP, CSV Injection, https://owasp.org/www-community/attacks/CSV_Injection; the apostrophe as the sign of text is common practice.
    """
    return f"'{text}" if _FORMULA.match(text) and not _FIGURE.fullmatch(text) else text


def unguarded(cell: str) -> str:
    """The text that `guarded` made the cell of; any other cell as it is."""
    return cell[1:] if _GUARDED.match(cell) else cell
