"""Rows of discs beyond the plain ones: spread so that they lie closer behind each other, shifted by what a row leaves free, and
hexagonal rows of n and n - 1 with some of full length stacked square.

Centres are measured from a corner of the rectangle that they may lie in: the plate less a disc each way.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from services.glass.domain.packing import HAIR_MM, Centre


@dataclass(frozen=True)
class RowFamily:
    """Rows of one spread. Long rows have `seats`; every other row is shifted, and shorter by one if `alternate`.

    The first `stacked` steps from row to row are square ones, between long rows, a pitch high; the others `step_mm`.
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
