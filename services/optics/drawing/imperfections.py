"""Surface imperfections, `5/N×A; C N×A; L N×A; E A`; a scratch-dig figure is kept as it is given."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from services.optics.drawing.scanner import TIMES, Scanner, written
from services.optics.errors import IndicationUnreadable
from services.optics.law import law

GRADES_MM = (0.004, 0.0063, 0.01, 0.016, 0.025, 0.04, 0.063, 0.1, 0.16, 0.25, 0.4, 0.63, 1.0, 1.6, 2.5, 4.0)
"""Grades of ISO 10110-7, from memory: the square root of the area of the largest imperfection allowed [mm]."""

SCRATCH_DIG = re.compile(r"(?:S-D\s*)?([1-9]\d{0,3}(?=\s*-)|(?:10|20|40|60|80|120)(?=\s*/))\s*[-/]\s*(\d{1,4})", re.ASCII)
"""With a slash only behind a scratch number of the standard: `5/2` is the beginning of an ISO indication."""
LARGEST_DIG_EACH_MM = 20.0
USUAL_COUNT = 3
"""Imperfections that time is planned by; the default of ISO 10110-11 for small parts, from memory."""


@dataclass(frozen=True)
class Allowed:
    """A number of imperfections of a grade [mm]."""

    count: int
    grade_mm: float


@dataclass(frozen=True)
class Imperfections:
    """What an imperfection indication allows: on the face, in its coating, as long scratches, chips of the edge and the width
    of scratches in the form of 2017 [mm]."""

    face: Allowed
    coating: Allowed | None = None
    long_scratches: Allowed | None = None
    edge_chips_mm: float | None = None
    scratch_width_mm: float | None = None


@dataclass(frozen=True)
class ScratchDig:
    """A scratch number, which is a visibility by comparison, and a dig number, which is a diameter in 0.01 mm."""

    scratch: int
    dig: int


def read_imperfections(text: str) -> Imperfections | ScratchDig:
    """The demand of an indication such as `5/2x0.16; C1×0,25; L1x0.04; E0.5`, or a scratch-dig figure such as `60-40`.

    Raises `IndicationUnreadable`.
    Source: ISO 10110-7, from memory; https://www.honoroptics.com/scratch-numbers-standard/ for notation and grades.
    """
    given = SCRATCH_DIG.fullmatch(text.strip())
    if given is not None:
        if int(given.group(2)) < 1:
            raise IndicationUnreadable(text, given.start(2) + 1 + len(text) - len(text.lstrip()), "a dig number of at least 1")
        return ScratchDig(int(given.group(1)), int(given.group(2)))
    scan = Scanner(text)
    if not scan.took("5/"):
        scan.refuse("5/, or scratch and dig such as 60-40")
    return _imperfections(scan)


def read_assembly_imperfections(text: str) -> Imperfections:
    """`15/N×A; …`: imperfections of an assembly, such as those of its cemented faces, written as those of a face.

    Raises `IndicationUnreadable`. Source: ISO 10110-7, from memory.
    """
    scan = Scanner(text)
    scan.expect("15/")
    return _imperfections(scan)


def _imperfections(scan: Scanner) -> Imperfections:
    face = _allowed(scan, "N (how many)")
    more: dict[str, Allowed] = {}
    sizes: dict[str, float] = {}
    while scan.took(";"):
        letter = next((sign for sign in ("C", "L", "E", "W") if scan.took(sign)), None)
        if letter is None or letter in more or letter in sizes:
            scan.refuse("C, L, E or W, each once")
        if letter in "EW":
            sizes[letter] = scan.number("the edge chip in mm" if letter == "E" else "the width of a scratch in mm")
        else:
            more[letter] = _allowed(scan, f"how many after {letter}")
    scan.end("; or the end")
    return Imperfections(face, more.get("C"), more.get("L"), sizes.get("E"), sizes.get("W"))


def write_imperfections(found: Imperfections | ScratchDig, *, head: str = "5/") -> str:
    """The indication; reading it gives an equal demand. Scratch-dig stays scratch-dig."""
    if isinstance(found, ScratchDig):
        return f"{found.scratch}-{found.dig}"
    parts = [f"{head}{_shown(found.face)}"]
    parts += [f"{sign}{_shown(one)}" for sign, one in (("C", found.coating), ("L", found.long_scratches)) if one is not None]
    sizes = (("E", found.edge_chips_mm), ("W", found.scratch_width_mm))
    return "; ".join([*parts, *(f"{sign}{written(size)}" for sign, size in sizes if size is not None)])


def _shown(allowed: Allowed) -> str:
    return f"{allowed.count}x{written(allowed.grade_mm)}"


def _allowed(scan: Scanner, called: str) -> Allowed:
    count = scan.count(called)
    scan.expect(*TIMES, called="x or ×")
    return Allowed(count, scan.number("A (grade in mm)"))


@law
def equal_grade_mm(*, count: int, grade_mm: float) -> float:
    """Grade [mm] at which three imperfections cover as much as so many of another grade: of 5/5×0.16 it is 0.207, of 5/1×0.16 0.092.

    Equation: grade_mm * sqrt(count / 3)
    Notes: what a face may show in all is N A^2. Time is planned by the grade of three, the usual number on drawings of lenses.
    Source: ISO 10110-7 counts finer imperfections against a coarser grade by their area, from memory; three: common practice.
    """
    return grade_mm * math.sqrt(count / USUAL_COUNT)


def grade_of_round_dig_mm(*, diameter_mm: float) -> float:
    """Grade [mm] of a round imperfection of a diameter [mm]: the square root of its area.

    Notes: a grade for one round dig that has been measured, not an equivalence of the two ways to specify a face, which grade
    different things.

    Source: derived from the definition of the grade.
    """
    return diameter_mm * math.sqrt(math.pi) / 2


def dig_as_grade(*, dig: int, clear_diameter_mm: float) -> Allowed:
    """What the dig number alone comes to: the next coarser grade, one for every 20 mm of clear diameter [mm].

    Notes: digs are measured, so they can be turned; scratches are compared by eye and are not.
    Source: derived; one largest dig for every 20 mm: http://www.prhoffman.com/technical/scratch-dig.htm.
    """
    grade = grade_of_round_dig_mm(diameter_mm=dig / 100)
    standard = next((step for step in GRADES_MM if step >= grade), grade)
    return Allowed(max(1, math.ceil(clear_diameter_mm / LARGEST_DIG_EACH_MM)), standard)
