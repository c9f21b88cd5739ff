"""Reads an indication from left to right and says, where it cannot go on, at which position and what it expected."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import NoReturn

from services.optics.errors import IndicationUnreadable

NUMBER = re.compile(r"\d+(?:[.,]\d+)?|[.,]\d+", re.ASCII)
COUNT = re.compile(r"\d{1,6}", re.ASCII)
TIMES = ("x", "×", "X")
NONE_STATED = ("-", "–", "—")

LEAST, MOST = 1e-9, 1e9
"""No figure of a drawing lies beyond, in any of its units (ours)."""


class Scanner:
    """A text and the place that has been read up to. Blanks between signs do not matter."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0

    def refuse(self, expected: str) -> NoReturn:
        """Raise `IndicationUnreadable` for the place where it stands."""
        raise IndicationUnreadable(self.text, self.at + 1, expected)

    def took(self, *signs: str) -> bool:
        """Whether one of the signs comes next; it is then read."""
        self._skip()
        for sign in signs:
            if self.text.startswith(sign, self.at):
                self.at += len(sign)
                return True
        return False

    def expect(self, *signs: str, called: str | None = None) -> None:
        """Read one of the signs, or refuse."""
        if not self.took(*signs):
            self.refuse(called or " or ".join(signs))

    def number(self, called: str, *, least: float = LEAST, most: float = MOST) -> float:
        """Read a number above 0 with a decimal point or comma and within bounds, or refuse."""
        self._skip()
        found = NUMBER.match(self.text, self.at)
        value = float(found.group().replace(",", ".")) if found else 0.0
        if found is None or value <= 0:
            self.refuse(f"{called}, a number above 0")
        if not least <= value <= most:
            self.refuse(f"{called}, a number from {least:g} to {most:g}")
        self.at = found.end()
        return value

    def count(self, called: str) -> int:
        """Read a whole number of at least 1, or refuse."""
        self._skip()
        found = COUNT.match(self.text, self.at)
        if found is None or int(found.group()) < 1:
            self.refuse(f"{called}, a whole number of at least 1")
        self.at = found.end()
        return int(found.group())

    def rest(self) -> str:
        """What has not been read yet, read now."""
        self._skip()
        text, self.at = self.text[self.at :].rstrip(), len(self.text)
        return text

    def end(self, expected: str = "the end") -> None:
        """Refuse unless everything has been read."""
        self._skip()
        if self.at < len(self.text):
            self.refuse(expected)

    def _skip(self) -> None:
        while self.at < len(self.text) and self.text[self.at].isspace():
            self.at += 1


def written(figure: float) -> str:
    """A figure as a drawing has it: the shortest decimal that reads back to the same number, without an exponent."""
    text = f"{Decimal(repr(figure)):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
