"""How many discs lie in a plate, and where: square rows, and hexagonal rows along either side.

Whole discs lie inside the plate; neighbours are a gap apart; at the edge no gap is needed. Places are measured from a corner.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from services.glass.errors import SizeImpossible

RowPattern = Literal["square", "hexagonal_along_length", "hexagonal_along_width"]
PATTERNS: tuple[RowPattern, ...] = ("square", "hexagonal_along_length", "hexagonal_along_width")

HEXAGONAL_LIMIT = math.pi / math.sqrt(12)
"""Share of the plane that discs cover at the densest, 0.9069 (Thue; from memory)."""

HAIR_MM = 1e-9
"""What binary arithmetic may lose where a row fits exactly [mm]."""


@dataclass(frozen=True)
class Centre:
    """Where the centre of a disc lies in its plate [mm]."""

    x_mm: float
    y_mm: float


@dataclass(frozen=True)
class RowLayout:
    """A pattern of rows, and how many discs it gives."""

    pattern: RowPattern
    discs: int


def best_rows(*, length_mm: float, width_mm: float, diameter_mm: float, gap_mm: float) -> RowLayout:
    """The best of the three patterns; of equal ones the first in `PATTERNS`. None fits: 0 discs, square.

    Raises `SizeImpossible` for a disc of zero or less, or a negative gap.
    Notes: hexagonal rows lose at the edges what they win inside, so that on small plates the square often wins.
    """
    counted = [
        RowLayout(
            pattern, disc_count(pattern=pattern, length_mm=length_mm, width_mm=width_mm, diameter_mm=diameter_mm, gap_mm=gap_mm)
        )
        for pattern in PATTERNS
    ]
    return max(counted, key=lambda layout: layout.discs)


def disc_count(*, pattern: RowPattern, length_mm: float, width_mm: float, diameter_mm: float, gap_mm: float) -> int:
    """Number of discs that a pattern gives in a plate.

    Raises `SizeImpossible` for a disc of zero or less, or a negative gap.
    Notes: pitch p = d + gap. Square: (floor((L-d)/p)+1) (floor((W-d)/p)+1). Hexagonal: rows p sqrt(3)/2 apart, every
    other one shifted by p/2.
    Source: derived.
    """
    _refuse_impossible(diameter_mm, gap_mm)
    along, across = _turned(pattern, length_mm, width_mm)
    pitch = diameter_mm + gap_mm
    if pattern == "square":
        return _in_a_row(along - diameter_mm, pitch) * _in_a_row(across - diameter_mm, pitch)
    rows = _in_a_row(across - diameter_mm, pitch * math.sqrt(3) / 2)
    shifted = rows // 2
    return (rows - shifted) * _in_a_row(along - diameter_mm, pitch) + shifted * _in_a_row(along - diameter_mm - pitch / 2, pitch)


def disc_centres(
    *, pattern: RowPattern, length_mm: float, width_mm: float, diameter_mm: float, gap_mm: float
) -> tuple[Centre, ...]:
    """Where the discs of a pattern lie; as many as `disc_count` says. Raises `SizeImpossible` like it."""
    _refuse_impossible(diameter_mm, gap_mm)
    along, across = _turned(pattern, length_mm, width_mm)
    pitch = diameter_mm + gap_mm
    hexagonal = pattern != "square"
    row_pitch = pitch * math.sqrt(3) / 2 if hexagonal else pitch
    centres = []
    for row in range(_in_a_row(across - diameter_mm, row_pitch)):
        shift = pitch / 2 if hexagonal and row % 2 else 0.0
        for seat in range(_in_a_row(along - diameter_mm - shift, pitch)):
            u = diameter_mm / 2 + shift + seat * pitch
            v = diameter_mm / 2 + row * row_pitch
            centres.append(Centre(v, u) if pattern == "hexagonal_along_width" else Centre(u, v))
    return tuple(centres)


def _in_a_row(room_mm: float, pitch_mm: float) -> int:
    """How many stand in a row when the first and the last may be `room_mm` apart."""
    return math.floor((room_mm + HAIR_MM) / pitch_mm) + 1 if room_mm > -HAIR_MM else 0


def _turned(pattern: RowPattern, length_mm: float, width_mm: float) -> tuple[float, float]:
    return (width_mm, length_mm) if pattern == "hexagonal_along_width" else (length_mm, width_mm)


def _refuse_impossible(diameter_mm: float, gap_mm: float) -> None:
    if not diameter_mm > 0:
        raise SizeImpossible("disc diameter", diameter_mm, "above 0 mm")
    if not gap_mm >= 0:
        raise SizeImpossible("gap between discs", gap_mm, "0 mm or more")
