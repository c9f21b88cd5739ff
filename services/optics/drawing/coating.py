"""The coating symbol, `7/` or a lambda in a circle, with what is written behind it as free text."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from services.optics.drawing.scanner import Scanner

CIRCLED_LAMBDA = ("(λ)", "λ\N{COMBINING ENCLOSING CIRCLE}")


@dataclass(frozen=True)
class CoatingNote:
    """A coating as a drawing has it: by its code or by the symbol, and the text, which is kept and not told apart."""

    mark: Literal["7/", "(λ)"]
    text: str


def read_coating(text: str) -> CoatingNote:
    """`7/ar-single`, `(λ) R < 0.5 % 400 to 700 nm`. Raises `IndicationUnreadable`.

    Source: ISO 10110-9, from memory.
    """
    scan = Scanner(text)
    mark: Literal["7/", "(λ)"] = "7/"
    if scan.took(*CIRCLED_LAMBDA):
        mark = "(λ)"
    else:
        scan.expect("7/", called="7/ or (λ)")
    said = scan.rest()
    if not said:
        scan.refuse("what the coating is to do")
    return CoatingNote(mark, said)


def write_coating(note: CoatingNote) -> str:
    """The indication; reading it gives an equal note."""
    return f"{note.mark}{note.text}" if note.mark == "7/" else f"{note.mark} {note.text}"
