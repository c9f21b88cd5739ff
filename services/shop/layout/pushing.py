"""Can lenses on a block be pushed about until one more finds room?

Every step is addition, multiplication, division or a square root of one element, or a sum in a fixed order: these come out the same
on every machine, so a count that is found here is the same everywhere.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]
"""Centres of lenses, shape (3, n), in pitches, from the centre of curvature."""

TOUCHING = 1 - 1e-5
"""Least distance of two centres, in pitches: at most a hundred-thousandth of the pitch comes out of the gap."""

STEP, MOMENTUM = 0.25, 0.9
"""Share of an overlap that each of two lenses gives way by, and share of its last move that a lens goes on with."""

NEAR = 1.45
"""Pairs up to so many pitches apart are watched until the next look around."""

AT_ONCE = 300
"""Lenses up to which all pairs are held in memory at once."""

LOOK_AROUND = 12
"""Moves between two looks at all pairs."""


@dataclass(frozen=True)
class Ground:
    """Where centres may lie, in pitches: on a sphere of `radius`, no lower than `height`, no wider than `width`.

    On a full sphere `height` is minus the radius.
    """

    radius: float
    height: float
    width: float

    def hold(self, points: Points) -> Points:
        """The points brought back to the surface and inside its edge."""
        x, y, z = points
        out = self.radius / np.sqrt(x * x + y * y + z * z)
        x, y, z = x * out, y * out, z * out
        below = z < self.height
        if below.any():
            inward = np.where(below, self.width / np.maximum(np.sqrt(x * x + y * y), 1e-12), 1.0)
            x, y, z = x * inward, y * inward, np.where(below, self.height, z)
        return np.stack((x, y, z))


def least_distance(points: Points) -> float:
    """Distance of the nearest two centres, in pitches; infinite for one."""
    count = points.shape[1]
    if count < 2:
        return math.inf
    if count <= AT_ONCE:
        return float(_distances(points, *_all_pairs(count)).min())
    of_each = (points[:, number + 1 :] - points[:, [number]] for number in range(count - 1))
    return math.sqrt(min(float((x * x + y * y + z * z).min()) for x, y, z in of_each))


def pushed_apart(points: Points, ground: Ground, *, aim: float = 1.0, moves: int, enough: float = TOUCHING) -> Points:
    """Lenses that overlap push each other away, within the block, until no two are nearer than `enough` or the moves are used up."""
    first, second = _all_pairs(points.shape[1])
    speed = np.zeros_like(points)
    for move in range(moves):
        if move % LOOK_AROUND == 0:
            apart = _distances(points, first, second)
            if apart.size == 0 or apart.min() >= enough:
                return points
            near = np.flatnonzero(apart < NEAR * aim)
            one, other = first[near], second[near]
        speed = MOMENTUM * speed + STEP * _pushes(points, one, other, aim)
        moved = ground.hold(points + speed)
        speed = moved - points
        points = moved
    return points


def _pushes(points: Points, one: NDArray[np.intp], other: NDArray[np.intp], aim: float) -> Points:
    between = points[:, one] - points[:, other]
    apart = np.sqrt(between[0] * between[0] + between[1] * between[1] + between[2] * between[2])
    push = between * (np.maximum(aim - apart, 0.0) / np.maximum(apart, 1e-12))
    count = points.shape[1]
    return np.stack(
        [np.bincount(one, weights=axis, minlength=count) - np.bincount(other, weights=axis, minlength=count) for axis in push]
    )


def _all_pairs(count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    return np.triu_indices(count, 1)


def _distances(points: Points, one: NDArray[np.intp], other: NDArray[np.intp]) -> NDArray[np.float64]:
    between = points[:, one] - points[:, other]
    return np.asarray(np.sqrt(between[0] * between[0] + between[1] * between[1] + between[2] * between[2]))


def with_one_more(points: Points, ground: Ground, *, choice: int = 0) -> Points:
    """The lenses and one more in the largest hole; `choice` is the place of the hole in the order of size."""
    sites = spots(ground, 8 * points.shape[1] + 40)
    gaps = sites[:, :, None] - points[:, None, :]
    nearest = np.sqrt(gaps[0] * gaps[0] + gaps[1] * gaps[1] + gaps[2] * gaps[2]).min(axis=1)
    for _ in range(choice):
        widest = sites[:, int(np.argmax(nearest))]
        away = sites - widest[:, None]
        nearest = np.where(away[0] * away[0] + away[1] * away[1] + away[2] * away[2] < 0.25, 0.0, nearest)
    return np.concatenate((points, sites[:, [int(np.argmax(nearest))]]), axis=1)


def spots(ground: Ground, count: int) -> Points:
    """Points spread evenly over the block on a spiral; rounded, so that they are the same on every machine."""
    share = (np.arange(count) + 0.5) / count
    turn = math.pi * (3 - math.sqrt(5)) * np.arange(count)
    up = ground.radius - share * (ground.radius - ground.height)
    across = np.sqrt(np.maximum(ground.radius**2 - up * up, 0.0))
    return np.round(np.stack((across * np.cos(turn), across * np.sin(turn), up)), 9)


def scattered(ground: Ground, count: int, *, seed: int) -> Points:
    """Lenses strewn over the block at random, each seed its own way."""
    sites = spots(ground, 16 * count)
    chosen = np.argsort(np.random.default_rng(seed).random(sites.shape[1]), kind="stable")[:count]
    return sites[:, np.sort(chosen)]


def spread(points: Points, ground: Ground, *, first_aim: float, rounds: int, moves: int, enough: float = math.inf) -> Points:
    """The lenses as far apart as pushing gets them, or as is `enough`: the aim comes down to what was reached, half-way each round."""
    best, reached, aim = points, least_distance(points), first_aim
    for _ in range(rounds):
        points = pushed_apart(points, ground, aim=aim, moves=moves, enough=aim * TOUCHING)
        apart = least_distance(points)
        if apart > reached:
            best, reached = points, apart
        if reached >= enough:
            break
        aim = (aim + apart) / 2 if apart < aim * TOUCHING else aim * 1.01
    return best
