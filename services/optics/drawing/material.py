"""What a drawing asks of the glass itself: `0/` stress birefringence, `1/` bubbles and inclusions, `2/` inhomogeneity and striae."""

from __future__ import annotations

from dataclasses import dataclass

from services.optics.drawing.imperfections import Allowed
from services.optics.drawing.scanner import NONE_STATED, TIMES, Scanner, written

HOMOGENEITY_CLASSES = 5
STRIAE_CLASSES = 5


INDEX_VARIATION_1E6 = (100.0, 40.0, 10.0, 4.0, 2.0, 1.0)
"""Variation of the index in a piece, peak to valley [1e-6], that the classes 0 to 5 of inhomogeneity allow. ISO 10110-4, from memory."""

STRIAE_NM_PER_50_MM = (60.0, 30.0, 15.0, 10.0, 5.0)
"""Difference of optical path by striae in 50 mm of glass [nm] to which a shop orders for the classes 1 to 5 (common practice).

ISO 10110 counts the area with striae, makers grade by the wavefront, 60, 30, 15 and 10 nm: neither is turned into the other by
a standard. Class 5, free of striae, is ordered looked at in two directions.
"""


@dataclass(frozen=True)
class Homogeneity:
    """`2/A;B`: class of inhomogeneity (0 to 5, finer with the number) and of striae (1 to 5); `None` is not stated."""

    inhomogeneity_class: int | None
    striae_class: int | None


def read_stress(text: str) -> float | None:
    """`0/A`: optical path difference by stress [nm per cm of path], None for a dash. Raises `IndicationUnreadable`.

    Source: ISO 10110-18, formerly -2, from memory.
    """
    scan = Scanner(text)
    scan.expect("0/")
    if scan.took(*NONE_STATED):
        scan.end()
        return None
    figure = scan.number("A (nm/cm)")
    scan.took("nm/cm")
    scan.end()
    return figure


def write_stress(nm_per_cm: float | None) -> str:
    """The indication; reading it gives the figure again."""
    return "0/-" if nm_per_cm is None else f"0/{written(nm_per_cm)}"


def read_bubbles(text: str) -> Allowed | None:
    """`1/N×A`: so many bubbles and inclusions of grade A [mm], None for a dash. Raises `IndicationUnreadable`.

    Source: ISO 10110-18, formerly -3, from memory.
    """
    scan = Scanner(text)
    scan.expect("1/")
    if scan.took(*NONE_STATED):
        scan.end()
        return None
    count = scan.count("N (how many)")
    scan.expect(*TIMES, called="x or ×")
    allowed = Allowed(count, scan.number("A (grade in mm)"))
    scan.end()
    return allowed


def write_bubbles(allowed: Allowed | None) -> str:
    """The indication; reading it gives an equal demand."""
    return "1/-" if allowed is None else f"1/{allowed.count}x{written(allowed.grade_mm)}"


def read_homogeneity(text: str) -> Homogeneity:
    """`2/A;B`, a dash for what is not stated. Raises `IndicationUnreadable`.

    Source: ISO 10110-18, formerly -4, from memory.
    """
    scan = Scanner(text)
    scan.expect("2/")
    first = _class(scan, "A (class of inhomogeneity)", least=0, most=HOMOGENEITY_CLASSES)
    scan.expect(";")
    second = _class(scan, "B (class of striae)", least=1, most=STRIAE_CLASSES)
    scan.end()
    return Homogeneity(first, second)


def write_homogeneity(found: Homogeneity) -> str:
    """The indication; reading it gives equal classes."""
    shown = ["-" if one is None else str(one) for one in (found.inhomogeneity_class, found.striae_class)]
    return f"2/{';'.join(shown)}"


def _class(scan: Scanner, called: str, *, least: int, most: int) -> int | None:
    if scan.took(*NONE_STATED):
        return None
    found = next((figure for figure in range(least, most + 1) if scan.took(str(figure))), None)
    if found is None:
        scan.refuse(f"{called}, {least} to {most}, or -")
    return found
