"""Regions in which the centres of discs lie: an oblong for a plate, a circle for a sawn disc; lengths in pitches, middle at (0, 0)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Points = npt.NDArray[np.float64]
"""Places, shape (…, 2)."""


@dataclass(frozen=True)
class Oblong:
    """A rectangle."""

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

    def edge(self, points: Points) -> tuple[Points, Points]:
        """Matrix and limits of what else steps must obey: nothing."""
        return np.zeros((0, points.size)), np.zeros(0)


@dataclass(frozen=True)
class Round:
    """A circle."""

    radius: float

    @property
    def area(self) -> float:
        return math.pi * self.radius**2

    @property
    def girth(self) -> float:
        return 2 * math.pi * self.radius

    def pulled_in(self, points: Points) -> Points:
        """The points, those outside moved to the edge."""
        out = np.sqrt((points * points).sum(axis=-1, keepdims=True))
        moved: Points = points * np.minimum(1.0, self.radius / np.maximum(out, 1e-300))
        return moved

    def somewhere(self, chance: np.random.Generator, count: int) -> Points:
        """Points by chance, shape (count, 2)."""
        out = self.radius * np.sqrt(chance.uniform(0, 1, count))
        turn = chance.uniform(0, 2 * math.pi, count)
        return np.column_stack([out * np.cos(turn), out * np.sin(turn)])

    def room_to_move(self, points: Points, reach: float) -> tuple[Points, Points]:
        """Least and largest step of every coordinate, within the reach."""
        return np.full_like(points, -reach), np.full_like(points, reach)

    def edge(self, points: Points) -> tuple[Points, Points]:
        """Matrix and limits of what else steps must obey, to first order: x^2 + y^2 + 2 (x, y) s <= r^2."""
        count = len(points)
        which = np.arange(count)
        matrix = np.zeros((count, 2 * count))
        matrix[which, 2 * which] = 2 * points[:, 0]
        matrix[which, 2 * which + 1] = 2 * points[:, 1]
        return matrix, self.radius**2 - (points * points).sum(axis=1)


Region = Oblong | Round
