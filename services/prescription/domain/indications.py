"""ISO 10110 indications, read as they stand on a drawing.

`3/A(B/C)` surface form (part 5), `4/σ(L)` centring (part 6), `5/N×A; C…; L…; E…` surface imperfections (part 7).
Decimal comma or point, `x` or `×`, spaces where one likes.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from services.prescription.errors import IndicationUnreadable

FRINGE_NM = 546.07 / 2
"""One fringe spacing of surface height at the mercury e line: half a wavelength [nm] (ISO 10110-5, from memory)."""


@dataclass(frozen=True)
class Form:
    """`3/A(B/C)` in fringe spacings: power (sagitta error), irregularity, its rotationally symmetric part; None for `-`."""

    power_fringes: float | None
    irregularity_fringes: float | None
    symmetric_fringes: float | None = None
    rms_fringes: float | None = None


@dataclass(frozen=True)
class Centring:
    """`4/σ(L)`: tilt of the surface or element to its datum axis [arcmin], and the lateral displacement L [mm]."""

    tilt_arcmin: float
    lateral_mm: float | None = None


@dataclass(frozen=True)
class Imperfections:
    """`5/N×A`: so many imperfections of grade A [mm], and the same for coatings (C), long scratches (L), edge chips (E)."""

    count: int
    grade_mm: float
    coating: tuple[int, float] | None = None
    scratches: tuple[int, float] | None = None
    edge_chips_mm: float | None = None


class _Scanner:
    """Reads an indication from left to right; an error names where it stopped and what was expected there."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0

    def _skip_spaces(self) -> None:
        while self._at < len(self._text) and self._text[self._at] in " \u00a0":
            self._at += 1

    def takes(self, *choices: str) -> str | None:
        """The first of the choices that stands here, taken; None if none does."""
        self._skip_spaces()
        for choice in choices:
            if self._text.startswith(choice, self._at):
                self._at += len(choice)
                return choice
        return None

    def needs(self, expected: str, *choices: str) -> str:
        """One of the choices, taken; an error that names what was expected otherwise."""
        found = self.takes(*choices)
        if found is None:
            raise self.error(expected)
        return found

    def number(self, expected: str) -> float:
        """A number of 0 or more, with decimal point or comma."""
        self._skip_spaces()
        found = re.compile(r"\d+(?:[.,]\d+)?").match(self._text, self._at)
        if found is None:
            raise self.error(expected)
        self._at = found.end()
        return float(found.group().replace(",", "."))

    def number_or_dash(self, expected: str) -> float | None:
        """A number, or a dash for "not stated"."""
        return None if self.takes("-", "–", "—") else self.number(f"{expected} or -")

    def end(self) -> None:
        """Nothing more may stand here."""
        self._skip_spaces()
        if self._at < len(self._text):
            raise self.error("the end")

    def error(self, expected: str) -> IndicationUnreadable:
        self._skip_spaces()
        return IndicationUnreadable(text=self._text, position=self._at, expected=expected)


def read_form(text: str) -> Form:
    """`3/A(B/C)`, optionally `RMSi < x`; in fringe spacings, or in nanometres where `nm` follows a figure.

    Raises `IndicationUnreadable` with the position and what was expected there.
    """
    scan = _Scanner(text)
    scan.needs("3/", "3/")
    power = _fringes(scan, "the power A in fringe spacings")
    irregularity = symmetric = rms = None
    if scan.takes("("):
        irregularity = _fringes(scan, "the irregularity B in fringe spacings")
        if scan.takes("/"):
            symmetric = _fringes(scan, "the rotationally symmetric part C in fringe spacings")
        scan.needs(")", ")")
    if scan.takes("RMSi", "RMSt", "RMSa"):
        scan.needs("<", "<")
        rms = _fringes(scan, "the RMS figure")
    scan.end()
    return Form(power, irregularity, symmetric, rms)


def _fringes(scan: _Scanner, expected: str) -> float | None:
    figure = scan.number_or_dash(expected)
    return figure / FRINGE_NM if figure is not None and scan.takes("nm") else figure


def read_centring(text: str) -> Centring:
    """`4/σ(L)`: σ in degrees, minutes or seconds of arc (`4/1'`, `4/30"`), L in mm; raises `IndicationUnreadable`."""
    scan = _Scanner(text)
    scan.needs("4/", "4/")
    figure = scan.number("the tilt angle σ")
    unit = scan.needs("' or \" or °", "''", "'", "′", '"', "″", "°")
    per_arcmin = {"'": 1.0, "′": 1.0, "''": 1 / 60, '"': 1 / 60, "″": 1 / 60, "°": 60.0}[unit]
    lateral = None
    if scan.takes("("):
        lateral = scan.number("the lateral displacement L in mm")
        scan.takes("mm")
        scan.needs(")", ")")
    scan.end()
    return Centring(figure * per_arcmin, lateral)


def read_imperfections(text: str) -> Imperfections:
    """`5/N×A; C N×A; L N×A; E A`, grades in mm; raises `IndicationUnreadable`."""
    scan = _Scanner(text)
    scan.needs("5/", "5/")
    count, grade = _count_and_grade(scan)
    coating = scratches = chips = None
    while scan.takes(";"):
        kind = scan.needs("C, L or E", "C", "L", "E")
        if kind == "C":
            coating = _count_and_grade(scan)
        elif kind == "L":
            scratches = _count_and_grade(scan)
        else:
            chips = scan.number("the largest edge chip in mm")
    scan.end()
    return Imperfections(count, grade, coating, scratches, chips)


def _count_and_grade(scan: _Scanner) -> tuple[int, float]:
    count = scan.number("the number N of imperfections")
    if count != int(count):
        raise scan.error("a whole number before ×")
    scan.needs("×", "x", "×", "X")
    grade = scan.number("the grade A in mm")
    if grade == 0:
        raise scan.error("a grade above 0")
    return int(count), grade
