"""What was made of a cell or a word, and the signs in which figures are written."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from shared_schemas.intake import Choice

FIGURE = r"(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)"
"""A number without a sign, with a decimal point or comma, as part of a regular expression."""

MM_PER_INCH = Decimal("25.4")
LENGTHS_MM = {
    "mm": Decimal(1), "cm": Decimal(10), "µm": Decimal("0.001"), "um": Decimal("0.001"), "nm": Decimal("0.000001"), "inch": MM_PER_INCH,
    "in": MM_PER_INCH, '"': MM_PER_INCH, "zoll": MM_PER_INCH, "thou": MM_PER_INCH / 1000, "mil": MM_PER_INCH / 1000, "mils": MM_PER_INCH / 1000,
}  # fmt: skip
"""Millimetres in a unit of length, by the words for it."""

SIGNS = str.maketrans(
    {
        **{chr(code): chr(code - 0xFEE0) for code in range(0xFF01, 0xFF5F)},  # full-width signs of East Asian keyboards
        **dict.fromkeys("\u00a0\u2007\u2009\u200a\u202f\u3000\t\r\n", " "),
        **dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2212", "-"),
        **dict.fromkeys("\u200b\u200e\u200f\ufeff", ""),
        **dict.fromkeys("\u2032\u2019\u2018\u00b4", "'"),
        **dict.fromkeys("\u2033\u201d\u201c\u201e", '"'),
        "\u03bc": "µ",
        "\u2044": "/",
        "\u2215": "/",
        "\u2300": "Ø",
        "\u00f8": "Ø",
        "\u2264": "<=",
        "\u2265": ">=",
        "\u00bd": "1/2",
        "\u00bc": "1/4",
        "\u2030": " per mille",
    }
)
"""Signs that mean the same, in the spelling that the readings expect."""


@dataclass(frozen=True)
class Reading:
    """What a cell or word means: `values` by fields of the prescription, such as `form`, `tolerances.diameter_mm` or `glass`, as JSON has them.

    A `rule` that is not empty is one by which something was taken that was not said, and is told. `left` is what was not understood.
    What `asks` says is to be asked, with `choices` as likely answers, the likeliest first; each answer is read as the cell would be.
    """

    values: dict[str, Any] = field(default_factory=dict)
    rule: str = ""
    left: str = ""
    choices: tuple[Choice, ...] = ()
    asks: str = ""

    @property
    def plain(self) -> bool:
        """Whether it was understood to the last word and nothing is to be asked."""
        return not self.asks and not self.left

    def by_rule(self, rule: str) -> Reading:
        """The same, read by one more rule."""
        return replace(self, rule="; ".join(part for part in (self.rule, rule) if part))


def asked(asks: str, *choices: tuple[str, str]) -> Reading:
    """Something that must be asked; a choice is an answer and what it would mean."""
    return Reading(asks=asks, choices=tuple(Choice(answer=answer, means=means) for answer, means in choices))


def tidy(text: str) -> str:
    """A text with one sign for what means the same and one blank between words."""
    return " ".join(text.translate(SIGNS).split())


def decimal_of(text: str) -> Decimal:
    """The number that `FIGURE` found, with a sign or without."""
    return Decimal(text.replace(" ", "").replace(",", "."))


def shown(figure: Decimal | float) -> str:
    """A figure in its shortest decimal, without an exponent."""
    text = f"{Decimal(repr(figure)) if isinstance(figure, float) else figure:f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text


def words(*alternatives: str) -> str:
    """A regular expression of any of several words, the longest first."""
    return "(?:" + "|".join(re.escape(word) for word in sorted(alternatives, key=len, reverse=True)) + ")"
