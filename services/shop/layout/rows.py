"""Rows of discs in a plate: how many lie in them, and where?

Square rows, and hexagonal rows along either side; then rows spread so that they lie closer behind each other, shifted by what a row
leaves free, and hexagonal rows of n and n - 1 with some of full length stacked square. Whole discs lie inside the plate; neighbours
are a gap apart; at the edge no gap is needed. Places are measured from a corner.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from shared_schemas.problem import FigureOutOfRange

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

    Raises FigureOutOfRange for a disc of zero or less, or a negative gap.
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

    Raises FigureOutOfRange for a disc of zero or less, or a negative gap.
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
    """Where the discs of a pattern lie; as many as `disc_count` says. Raises FigureOutOfRange like it."""
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
        raise FigureOutOfRange("disc diameter [mm]", diameter_mm, "above 0")
    if not gap_mm >= 0:
        raise FigureOutOfRange("gap between discs [mm]", gap_mm, "0 and above")


@dataclass(frozen=True)
class RowFamily:
    """Rows of one spread, measured from a corner of the rectangle that centres may lie in.

    Long rows have `seats`; every other row is shifted, and shorter by one if `alternate`. The first `stacked` steps from row to row are square ones, between long
    rows, a pitch high; the others `step_mm`.
    """

    along_length: bool
    seats: int
    rows: int
    stacked: int
    alternate: bool
    spread_mm: float
    shift_mm: float
    step_mm: float

    @property
    def discs(self) -> int:
        short = (self.rows - self.stacked) // 2 if self.alternate else 0
        return self.rows * self.seats - short

    def centres(self, pitch_mm: float) -> tuple[Centre, ...]:
        """Where the discs lie [mm]; the pitch [mm] is the height of a square step."""
        found = []
        for row in range(self.rows):
            shifted = row > self.stacked and (row - self.stacked) % 2 == 1
            v = min(row, self.stacked) * pitch_mm + max(0, row - self.stacked) * self.step_mm
            for seat in range(self.seats - (shifted and self.alternate)):
                u = seat * self.spread_mm + (self.shift_mm if shifted else 0.0)
                found.append(Centre(u, v) if self.along_length else Centre(v, u))
        return tuple(found)


def best_family(*, room_length_mm: float, room_width_mm: float, pitch_mm: float) -> RowFamily | None:
    """The family with most discs in a rectangle of centres; of equal ones the first. `None` where no disc fits."""
    if min(room_length_mm, room_width_mm) < -HAIR_MM:
        return None
    sides = ((True, room_length_mm, room_width_mm), (False, room_width_mm, room_length_mm))
    families = (
        family
        for along_length, along, across in sides
        for family in _families(along_length, max(0.0, along), max(0.0, across), pitch_mm)
    )
    return max(families, key=lambda family: family.discs)


def _families(along_length: bool, along: float, across: float, pitch: float) -> Iterator[RowFamily]:
    """Every family along one side, from the most seats in a row down to rows spread so far that a third row would touch."""
    for seats in range(_standing(along, pitch), 0, -1):
        yield _equal_rows(along_length, seats, along, across, pitch)
        spread = along / (seats - 1) if seats > 1 else pitch
        if seats > 1:
            yield from _alternate_rows(along_length, seats, max(spread, pitch), across, pitch)
        if spread > math.sqrt(3) * pitch:
            return


def _equal_rows(along_length: bool, seats: int, along: float, across: float, pitch: float) -> RowFamily:
    """Every row has all seats, every other one shifted by half the spread, or by what the row leaves free."""
    spread = max(pitch, along / (seats - 0.5))
    shift = min(spread / 2, max(0.0, along - (seats - 1) * spread))
    step = _step(shift, pitch)
    return RowFamily(along_length, seats, _standing(across, step), 0, False, spread, shift, step)


def _alternate_rows(along_length: bool, seats: int, spread: float, across: float, pitch: float) -> Iterator[RowFamily]:
    """Rows of n and n - 1, as many steps square as the width has to spare; then every number of rows fewer, down to all square."""
    step = _step(spread / 2, pitch)
    for rows in range(_standing(across, step), _standing(across, pitch) - 1, -1):
        spare = across - (rows - 1) * step
        stacked = min(rows - 1, math.floor((spare + HAIR_MM) / (pitch - step))) if pitch > step else rows - 1
        yield RowFamily(along_length, seats, rows, stacked, True, spread, spread / 2, step)


def _step(shift: float, pitch: float) -> float:
    """How far apart two rows stand [mm] that are shifted against each other; the row after the next may not touch either."""
    return max(math.sqrt(max(0.0, pitch * pitch - shift * shift)), pitch / 2)


def _standing(room: float, pitch: float) -> int:
    return math.floor((room + HAIR_MM) / pitch) + 1
