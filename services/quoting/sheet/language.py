"""How the sheet says things in a language: its words, and numbers, amounts and days as its readers write them.

Formats are those of CLDR, by Babel. English comes in two: on A4 as in Britain, on Letter as in the United States.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Literal, get_args

from babel import Locale
from babel.dates import format_date
from babel.numbers import format_decimal, format_percent, get_decimal_symbol

from services.quoting.sheet.words import TABLES
from shared_schemas.place import Place

Paper = Literal["a4", "letter"]
PAPERS: tuple[Paper, ...] = get_args(Paper)
LANGUAGES: tuple[str, ...] = tuple(TABLES)
_FACES = ("front", "back")


@dataclass(frozen=True)
class Language:
    """A language on a paper. `words` is its table; the rest makes texts of figures."""

    code: str
    locale: Locale
    words: Any

    def count(self, number: int) -> str:
        """A whole number with its thousands apart."""
        return format_decimal(number, locale=self.locale)

    def money(self, amount: Decimal) -> str:
        """An amount with the decimals that it has, its thousands apart."""
        exponent = amount.as_tuple().exponent
        places = -exponent if isinstance(exponent, int) and exponent < 0 else 0
        return format_decimal(amount, "#,##0" + ("." + "0" * places if places else ""), locale=self.locale)

    def figure(self, number: float, *, form: str = ".10g", sign: bool = False) -> str:
        """A figure of a drawing with the digits that it was given, its thousands together, a sign where one is asked for."""
        return self.with_comma(f"{number or 0.0:{'+' if sign else ''}{form}}")

    def with_comma(self, figures: str) -> str:
        """Figures that are written with a point, with the decimal mark of the language."""
        return re.sub(r"(?<=\d)\.(?=\d)", get_decimal_symbol(self.locale), figures)

    def share(self, share: float, places: int = 0, *, sign: bool = False) -> str:
        """A share as a percentage."""
        pattern = ("+" if sign and share > 0 else "") + "0" + ("." + "0" * places if places else "")
        after = "%" if self.code == "en" else "\u00a0%"
        return format_percent(share, f"{pattern}{after}", locale=self.locale)

    def day(self, day: date) -> str:
        """A day with its month in words."""
        return format_date(day, "long", locale=self.locale)

    def short_day(self, day: date) -> str:
        """A day as it stands in a table."""
        return format_date(day, "medium", locale=self.locale)

    def days(self, count: int) -> str:
        """`1 day`, `12 days`."""
        form: str = self.words.ONE_DAY if count == 1 else self.words.SOME_DAYS
        return form.format(count=self.count(count))

    def in_english(self, text: str) -> str:
        """A sentence that the suite has in English alone, marked so for readers of another language."""
        return f"{text} {self.words.IN_ENGLISH}" if text and self.code != "en" else text

    def thing(self, name: str) -> str:
        """What the shop calls a tool, a part or a delivery, with the words that the language has for such things."""
        return self.with_comma(_replaced(name, self.words.THINGS))

    def tolerance(self, name: str) -> str:
        """What a tolerance is called."""
        plain = name.replace("_", " ")
        known: str = self.words.TOLERANCES.get(plain, plain)
        return known

    def place(self, place: Place) -> str:
        """A place of the lens by the names of its elements."""
        return f"{self.part(place.part)} {self.of_it(place.of_it)}".strip()

    def part(self, part: str) -> str:
        """An element by its name; the lens, or what lies between two elements, in words."""
        between = re.fullmatch(r"between (.+) and (.+)", part)
        if between:
            known = self.words.PLACES
            return f"{known.get('between', 'between')} {between[1]} {known.get('and', 'and')} {between[2]}"
        return str(self.words.PLACES.get(part, part))

    def of_it(self, what: str) -> str:
        """What of an element: `front form`, `centre thickness`."""
        known: Mapping[str, str] = self.words.PLACES
        face, _, rest = what.partition(" ")
        if face in _FACES and rest:
            return f"{known.get(face, face)} {known.get(rest, rest)}"
        return known.get(what, what)


def language(code: str, paper: Paper = "a4") -> Language:
    """The language of a code, `en`, `de` or `fr`, as it is written on a paper."""
    return Language(code, Locale.parse(("en_US" if paper == "letter" else "en_GB") if code == "en" else code), TABLES[code])


def _replaced(name: str, words: Mapping[str, str]) -> str:
    if not words:
        return name
    longest_first = "|".join(re.escape(word) for word in sorted(words, key=len, reverse=True))
    return re.sub(rf"(?<![\w-])(?:{longest_first})(?![\w-])", lambda found: words[found[0]], name)
