"""Where a search for places begins: rows of every kind squeezed into the region, rings, lattices, and chance."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import islice

import numpy as np

from services.shop.layout.regions import Oblong, Points, Region, Round

TIGHT = 0.8
"""Rows that would stand closer than this part of a pitch in themselves, or than half of it behind each other, are no start."""

RowShape = tuple[tuple[int, bool], ...]
"""For each row its seats, and whether it stands half a pitch to the side."""


def starting_points(*, count: int, region: Region, chance: np.random.Generator, limit: int) -> Iterator[Points]:
    """So many starts, each of shape (count, 2): patterns for two thirds of them, thinned to the count and shaken a hair; then chance."""
    patterns = row_patterns(count=count, plate=region) if isinstance(region, Oblong) else ring_patterns(count=count, disc=region)
    given = 0
    for pattern in islice(patterns, -(-2 * limit // 3)):
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


def ring_patterns(*, count: int, disc: Round) -> Iterator[Points]:
    """The nearest places of a hexagonal lattice about three middles, and rings one pitch apart from the rim inwards."""
    for grid in lattices(math.sqrt(count)):
        yield grid[np.argsort((grid * grid).sum(axis=1).round(9), kind="stable")[:count]]
    for rings in _ring_counts(count, disc.radius):
        parts = []
        for number, seats in enumerate(rings):
            turn = 2 * math.pi * (np.arange(seats) + 0.5 * (number % 2)) / seats
            parts.append(max(0.0, disc.radius - number) * np.column_stack([np.cos(turn), np.sin(turn)]))
        yield np.concatenate(parts)


def lattices(radius: float) -> Iterator[Points]:
    """Hexagonal lattices of pitch 1 about a place, the middle of two and that of three; they reach beyond the radius."""
    reach = math.ceil(radius) + 2
    lattice = np.array(
        [(i + j / 2, j * math.sqrt(3) / 2) for i in range(-2 * reach, 2 * reach) for j in range(-2 * reach, 2 * reach)]
    )
    for middle in ((0.0, 0.0), (0.5, 0.0), (0.5, math.sqrt(3) / 6)):
        yield lattice - middle


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


def _ring_counts(count: int, radius: float) -> Iterator[tuple[int, ...]]:
    """How discs share rings one pitch apart, from the rim inwards: the fullest rim, and up to two fewer."""
    if radius <= 0.5:
        yield (count,)
        return
    most = min(count, math.floor(math.pi / math.asin(min(1.0, 0.5 / radius)) + 1e-6))
    for rim in range(most, max(most - 3, 0), -1):
        if rim == count:
            yield (count,)
        else:
            yield from ((rim, *inner) for inner in islice(_ring_counts(count - rim, max(radius - 1.0, 0.0)), 2))
