"""How imperfections add up: rules of the scratch-dig standard, and the grades of ISO 10110-7."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from services.prescription.domain.indications.imperfections import GRADES_MM

FINE_DIG = 10
FINE_DIGS_APART_MM = 1.0


@dataclass(frozen=True)
class Scratch:
    """A scratch that was found: its number by comparison, and its length [mm]."""

    number: int
    length_mm: float


@dataclass(frozen=True)
class Accumulated:
    """What found scratches come to: the weighted sum and its limit, the length of the largest and its limit [mm],
    and how many are of a number beyond the largest."""

    weighted: float
    weighted_limit: float
    largest_length_mm: float
    largest_length_limit_mm: float
    beyond_largest: int = 0

    @property
    def passes(self) -> bool:
        """Whether the part passes; one scratch beyond the largest number fails it."""
        return (
            self.beyond_largest == 0
            and self.weighted <= self.weighted_limit
            and self.largest_length_mm <= self.largest_length_limit_mm
        )


def accumulated(scratches: Sequence[Scratch], *, largest_number: int, diameter_mm: float) -> Accumulated:
    """The accumulation rule for scratches on a part of that equivalent diameter.

    Notes: scratches of the largest number together are no longer than D/4. The sum of number x length / D is at most half
    the largest number where such a scratch is present, and at most the number itself where none is.

    Source: https://ru.scribd.com/document/87040131/Sydor-Scratch-Dig (after the United States standard), with its example.
    """
    largest = [one for one in scratches if one.number >= largest_number]
    return Accumulated(
        weighted=sum(one.number * one.length_mm / diameter_mm for one in scratches),
        weighted_limit=largest_number / 2 if largest else float(largest_number),
        largest_length_mm=sum(one.length_mm for one in largest),
        largest_length_limit_mm=diameter_mm / 4,
        beyond_largest=sum(one.number > largest_number for one in scratches),
    )


def digs_allowed(*, diameter_mm: float) -> int:
    """How many digs of the largest size: one for every 20 mm of diameter, and for what is left over.

    Source: http://www.prhoffman.com/technical/scratch-dig.htm.
    """
    return max(1, -int(-diameter_mm // 20))


def dig_separation_mm(*, largest_dig: int) -> float | None:
    """How far apart [mm] digs must stand at least: 1 mm where the largest allowed is 10 or smaller; `None` is no rule.

    Source: http://www.prhoffman.com/technical/scratch-dig.htm.
    """
    return FINE_DIGS_APART_MM if largest_dig <= FINE_DIG else None


def next_grade_mm(size_mm: float) -> float | None:
    """The next standard grade that is no finer [mm]; `None` beyond the last."""
    return next((grade for grade in GRADES_MM if grade >= size_mm - 1e-12), None)


def subdivided(*, count: int, grade_mm: float) -> list[tuple[float, int]]:
    """What a number of imperfections of a grade may be instead: finer grades, in numbers of the same area.

    Notes: a step of grades is a factor of 1.6 in size and 2.5 in area, so that N of A are 2.5 N of the next finer, 6.3 of the
    one below and 16 of the third. Source: ISO 10110-7, from memory.
    """
    finer = [grade for grade in GRADES_MM if grade < grade_mm - 1e-12][-3:][::-1]
    return [(grade, int(count * factor)) for grade, factor in zip(finer, (2.5, 6.3, 16.0), strict=False)]
