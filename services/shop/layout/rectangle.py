"""A rectangle in which centres of discs lie, and where a search for places in it begins; lengths in pitches."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

import numpy as np
import numpy.typing as npt

Points = npt.NDArray[np.float64]
"""Places, shape (…, 2)."""

TIGHT = 0.8
"""Rows that would stand closer than this part of a pitch in themselves, or than half of it behind each other, are no start."""

RowShape = tuple[tuple[int, bool], ...]
"""For each row its seats, and whether it stands half a pitch to the side."""


@dataclass(frozen=True)
class Oblong:
    """A rectangle of centres, its middle at (0, 0)."""

    length: float
    width: float

    @property
    def area(self) -> float:
        return self.length * self.width

    @property
    def girth(self) -> float:
        return 2 * (self.length + self.width)

    @property
    def corner(self) -> Points:
        return np.array([self.length / 2, self.width / 2])

    def pulled_in(self, points: Points) -> Points:
        """The points, those outside moved to the edge."""
        moved: Points = np.minimum(np.maximum(points, -self.corner), self.corner)
        return moved

    def somewhere(self, chance: np.random.Generator, count: int) -> Points:
        """Points by chance, shape (count, 2)."""
        return chance.uniform(-1.0, 1.0, (count, 2)) * self.corner

    def room_to_move(self, points: Points, reach: float) -> tuple[Points, Points]:
        """Least and largest step of every coordinate, within the reach."""
        return np.maximum(-reach, -self.corner - points), np.minimum(reach, self.corner - points)


def starting_points(*, count: int, region: Oblong, chance: np.random.Generator, limit: int) -> Iterator[Points]:
    """So many starts, each of shape (count, 2): patterns for two thirds of them, thinned to the count and shaken a hair; then chance."""
    given = 0
    for pattern in islice(row_patterns(count=count, plate=region), -(-2 * limit // 3)):
        kept = pattern if len(pattern) == count else pattern[np.sort(chance.choice(len(pattern), count, replace=False))]
        yield region.pulled_in(kept + chance.normal(0, 0.01, kept.shape))
        given += 1
    for _ in range(given, limit):
        yield region.somewhere(chance, count)


def row_patterns(*, count: int, plate: Oblong) -> Iterator[Points]:
    """Rows along either side, at least the count of places, the widest apart first."""
    found = []
    for turned in (False, True):
        along, across = (plate.width, plate.length) if turned else (plate.length, plate.width)
        fewest = -(-count // (math.floor(along / TIGHT) + 2))
        for rows in range(fewest, min(count, math.floor(2 * across / TIGHT) + 2) + 1):
            for shape in _row_shapes(count, rows):
                seats = sum(seats for seats, _ in shape)
                found.append((-_neighbours_apart(shape, along, across), seats, turned, shape))
    for _, _, turned, shape in sorted(found):
        yield _rows(shape, plate.width, plate.length)[:, ::-1] if turned else _rows(shape, plate.length, plate.width)


def _row_shapes(count: int, rows: int) -> Iterator[RowShape]:
    """Rows that hold the count with fewer places to spare than a row has: straight, shifted, and n with n - 1."""
    seats = -(-count // rows)
    if seats * rows - count < max(seats, 2):
        yield tuple((seats, False) for _ in range(rows))
        yield tuple((seats, bool(row % 2)) for row in range(rows))
    for first in (0, 1):
        for longer in (seats, seats + 1):
            alternate = tuple((longer - (row + first) % 2, bool((row + first) % 2)) for row in range(rows))
            if longer > 1 and 0 <= sum(row[0] for row in alternate) - count < longer:
                yield alternate


def _pitches(shape: RowShape, along: float, across: float) -> tuple[float, float]:
    """How far apart neighbours in a row stand, and the rows, when they fill the rectangle."""
    longest = max(seats for seats, _ in shape)
    full_and_shifted = any(shift and seats == longest for seats, shift in shape)
    pitch = along / max(longest - (0.5 if full_and_shifted else 1.0), 0.5)
    return pitch, across / (len(shape) - 1) if len(shape) > 1 else 0.0


def _neighbours_apart(shape: RowShape, along: float, across: float) -> float:
    """Least distance between neighbours."""
    pitch, between = _pitches(shape, along, across)
    reaches = [pitch] if max(seats for seats, _ in shape) > 1 else []
    if len(shape) > 1:
        reaches += [math.hypot(pitch / 2, between), 2 * between] if any(shift for _, shift in shape) else [between]
    return min(reaches, default=math.inf)


def _rows(shape: RowShape, along: float, across: float) -> Points:
    """Places of the rows, spread over the whole rectangle."""
    pitch, between = _pitches(shape, along, across)
    x = np.concatenate([np.arange(seats) + (0.5 if shift else 0.0) for seats, shift in shape]) * pitch - along / 2
    y = np.repeat(np.arange(len(shape)), [seats for seats, _ in shape]) * between - across / 2
    return np.column_stack([x, y])
