"""Numbers as people write them: decimal point or comma, thousands in groups, powers of ten, fractions of an inch, words for infinity.

`1,234` may be 1.234 or 1234. The rest of a table usually says which; where it does not, it is asked.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Context, Decimal, InvalidOperation

from services.desk.intake.units import UNIT_IN_CELL, mm_per

MINUS = str.maketrans({"\u2212": "-", "\u2013": "-", "\u2010": "-", "\u2011": "-", "\ufe63": "-", "\uff0d": "-"})
EXACT = Context(prec=700)
"""Digits enough for the sum of any two lengths."""

BLANKS = "\u0020\u00a0\u202f\u2009\u2007"
"""Blanks that stand between groups of three digits: the usual, no-break, narrow no-break, thin and figure one (CLDR and SI brochure)."""

APOSTROPHES = "'\u2019\u02bc\u00b4"
VULGAR = {"\u00bd": "1/2", "\u00bc": "1/4", "\u00be": "3/4", "\u215b": "1/8", "\u215c": "3/8", "\u215d": "5/8", "\u215e": "7/8"}
FLATTEST_MM = Decimal("1e7")
"""A radius beyond this, such as 1e10, is how tables without a word for it write a flat face."""

FLAT = ("inf", "inf.", "infinity", "infinite", "infinito", "infini", "unendlich", "plano", "plane", "plan", "planar", "flat", "eben", "pl",
        "pl.", "plan.", "planfläche", "planflaeche", "\u221e")  # fmt: skip
"""Words for a face without curvature, and for what is endlessly far away."""

_DIGITS = rf"[0-9]+(?:[.,{APOSTROPHES}][0-9]+|[{BLANKS}][0-9]{{3}}(?![0-9]))*[.,]?|[.,][0-9]+"
_POWER = rf"(?:[eE][+-]?[0-9]+|[{BLANKS}]*[x×*·][{BLANKS}]*10[{BLANKS}]*\^?[{BLANKS}]*[+-]?[0-9]+)"
_FRACTION = rf"(?:(?P<whole>[0-9]+)[{BLANKS}-]+)?(?P<over>[0-9]+)/(?P<under>[0-9]+)"
_BEFORE = r"(?:[øØ⌀∅]|dia\.?|[Rr]\s*=|=)?"
NUMBER = re.compile(
    rf"\s*{_BEFORE}\s*(?P<sign>[+-]?)[{BLANKS}]*(?:{_FRACTION}(?![0-9.,])|(?P<digits>{_DIGITS})(?P<power>{_POWER})?)(?P<rest>.*)",
    re.DOTALL,
)
FACING = re.compile(r"[\s,;(]*(?P<word>cx|cc|convex|concave|konvex|konkav|convexe|concav)\)?", re.IGNORECASE)
"""A word behind a radius that says which way the face bends in place of a sign."""

GLUED = re.compile(r"(?!(?:cx|cc)\b|[a-hj-kmnpr-vx-z]{1,2}[0-9]{1,2}(?![0-9.,]))[^\W\d_]", re.IGNORECASE)
"""A letter right behind the figures of a number, which then is none; but for CX and CC and a fit such as h7, in which there is no I, L, O, Q and W."""

POINT_ZERO = re.compile(r"[+-]?0*[.,]?0+|[+-]?0+[.,]?")
"""A number that is 0, however it is written."""


@dataclass(frozen=True)
class Signs:
    """The decimal sign of a table: `.`, `,` or nothing yet. `grouped` says whether thousands are surely in groups of the other sign."""

    decimal: str = ""
    grouped: bool = False
    open: bool = False


@dataclass(frozen=True)
class Figure:
    """A number that was read: its value, the mm of a unit that stood behind it, what else stands in the cell."""

    value: Decimal
    unit_mm: Decimal | None = None
    rest: str = ""
    grouped: bool = False


@dataclass(frozen=True)
class Doubtful:
    """A number that may be two: its readings, the likelier first."""

    readings: tuple[Decimal, ...]
    unit_mm: Decimal | None = None
    rest: str = ""


def product(*factors: Decimal) -> Decimal:
    """The product, to its last digit."""
    found = Decimal(1)
    for factor in factors:
        found = EXACT.multiply(found, factor)
    return found


def plain(text: str) -> str:
    """The text with one sign for minus and vulgar fractions written out."""
    text = text.translate(MINUS)
    for sign, written in VULGAR.items():
        text = re.sub(rf"(?<=[0-9]){sign}", f" {written}", text).replace(sign, written)
    return text.strip()


def is_flat(text: str) -> bool:
    """Whether a text is a word for infinity or for a flat face."""
    return text.strip().lower().translate(MINUS).lstrip("+-") in FLAT


def signs_of(texts: Iterable[str], *, short: Iterable[str] = ()) -> Signs:
    """The decimal sign that the numbers of a table agree on.

    `short` are figures that are below a thousand in any unit, thicknesses and diameters: where every number has three digits behind its
    sign, these say that it is a decimal sign.
    """
    votes: set[str] = set()
    grouped = False
    doubtful = False
    for text in texts:
        readings = readings_of(text)
        if len(readings) == 1 and readings.keys() != {""}:
            sign = next(iter(readings))
            votes.add(sign)
            grouped = grouped or (("," if sign == "." else ".") in _digits(text))
        doubtful = doubtful or len(readings) > 1
    if len(votes) == 1:
        return Signs(votes.pop(), grouped=grouped)
    if votes:
        return Signs(".")
    taken = {next(sign for sign in ".," if sign in _digits(text)) for text in short if len(readings_of(text)) > 1}
    if len(taken) == 1:
        return Signs(taken.pop(), open=True)
    return Signs(open=True) if doubtful else Signs(".")


def readings_of(text: str) -> dict[str, Decimal]:
    """What the number at the begin of a text is with the point, and with the comma, as decimal sign; under `""` where both say the same."""
    match = NUMBER.fullmatch(plain(text))
    if match is None or match["digits"] is None:
        return {}
    found = {sign: value for sign in ".," if (value := _value(match["digits"], sign)) is not None}
    if len(found) == 2 and len(set(found.values())) == 1:
        return {"": found["."]}
    return found


def _digits(text: str) -> str:
    match = NUMBER.fullmatch(plain(text))
    return (match["digits"] or "") if match is not None else ""


def _value(digits: str, decimal: str) -> Decimal | None:
    """The digits as a number when `decimal` is the decimal sign; `None` where they cannot be."""
    whole, sign, part = digits.partition(decimal)
    if sign and not part.isdecimal() and part:
        return None
    groups = re.split(r"[^0-9]", whole)
    between = set(re.findall(r"[^0-9]", whole))
    if len(between) > 1:
        return None
    if between and (
        groups[0] in ("", "0") or len(groups[0]) > 3 or groups[0][0] == "0" or any(len(group) != 3 for group in groups[1:])
    ):
        return None
    if not whole and not part:
        return None
    return Decimal(f"{''.join(groups) or '0'}.{part or '0'}") if sign else Decimal("".join(groups))


def figure_of(text: str, signs: Signs, *, typed: bool = False) -> Figure | Doubtful | None:
    """The number that a cell begins with, `None` where it begins with none."""
    match = NUMBER.fullmatch(plain(text))
    factor = _power(match["power"]) if match is not None else None
    if match is None or factor is None:
        return None
    unit_mm, rest = _unit_behind(match["rest"])
    if unit_mm is None and GLUED.match(match["rest"]):
        return None
    sign = Decimal(-1 if match["sign"] == "-" else 1)
    if match["digits"] is None:
        return _fraction(match, sign, unit_mm, rest)
    digits = match["digits"]
    found = {"": Decimal(digits)} if typed and "," not in digits else readings_of(digits)
    if match["power"] and len(found) > 1:  # nobody groups the digits before a power of ten
        found = {mark: value for mark, value in found.items() if value < 1000}
    readings = {mark: product(sign, value, factor) for mark, value in found.items()}
    if len(readings) > 1:
        return _of_two(readings, digits, signs, unit_mm, rest)
    for mark, value in readings.items():
        against = mark not in ("", signs.decimal or mark)
        return Doubtful((value,), unit_mm, rest) if against else Figure(value, unit_mm, rest)
    return None


def _of_two(readings: dict[str, Decimal], digits: str, signs: Signs, unit_mm: Decimal | None, rest: str) -> Figure | Doubtful:
    if signs.decimal:
        value = readings[signs.decimal]
        if signs.decimal in digits:
            return Figure(value, unit_mm, rest)
        if signs.grouped:
            return Figure(value, unit_mm, rest, grouped=True)
        return Doubtful((value, readings["," if signs.decimal == "." else "."]), unit_mm, rest)
    return Doubtful((readings["."], readings[","]), unit_mm, rest)


def _unit_behind(rest: str) -> tuple[Decimal | None, str]:
    unit = UNIT_IN_CELL.match(rest)
    if unit is None:
        return None, rest.strip()
    return mm_per(unit["unit"]), rest[unit.end() :].strip()


def _power(written: str | None) -> Decimal | None:
    exponent = int(re.sub(r"^(?:[eE]|[^0-9]*10[^0-9+-]*)", "", written)) if written else 0
    return Decimal(1).scaleb(exponent) if abs(exponent) <= 400 else None


def _fraction(match: re.Match[str], sign: Decimal, unit_mm: Decimal | None, rest: str) -> Figure | None:
    """One and a half inch, written 1 1/2; only of something with a unit, or in a table of inches, is that a length."""
    try:
        value = Decimal(match["whole"] or 0) + Decimal(match["over"]) / Decimal(match["under"])
    except (InvalidOperation, ZeroDivisionError):
        return None
    return Figure(sign * value, unit_mm, rest)
