"""Can so many equal discs lie in this plate, and where? A search where rows of discs leave room.

What is moved are the centres: discs of diameter d a gap k apart in a plate are points at least the pitch p = d + k apart in
a smaller region. The region is measured in pitches, so that every distance must be 1 or more.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from services.shop.layout.rectangle import Oblong, Points, starting_points

Floats = npt.NDArray[np.float64]
Batch = npt.NDArray[np.float64]
"""Several sets of points at once, shape (sets, points, 2)."""

NEAR = 1.6
"""Pairs farther apart than this, in pitches, do not touch within one step of the refinement."""
WORTH_REFINING = 1e-3
"""Worst 1 - d^2 that may be missing where settled points are worth refining."""
SETTLED = 1e-13
"""Gain of the least squared distance below which a refinement is at its end."""
REFINEMENTS = 40
LOOK_EVERY = 10
"""Steps between two looks at whether a set has settled."""
SPARE = 5e-4
"""By how much more than a pitch a search settles points apart, so that it ends in a finite number of steps."""


@dataclass(frozen=True)
class Effort:
    """How long to look: sets that are settled side by side, steps for each, rounds of shaking, whether to refine exactly, and
    patience: steps in which a set must lose a factor e of what is missing, or is given up (0: none is)."""

    sets: int
    steps: int
    rounds: int
    refine: bool
    patience: float = 0.0


QUICK = Effort(sets=16, steps=200, rounds=1, refine=False, patience=56.0)
"""For plans: some ms for a plate."""
THOROUGH = Effort(sets=24, steps=600, rounds=8, refine=True)
"""For finding what is known to exist: up to a second or two."""
AT_FIRST = 0.2
"""Worst 1 - d^2 that a set may miss at first, where patience is measured from."""
LAGGARDS = 3.0
"""How many times what the best set must not exceed another may miss, and still be settled on."""
PATIENT = 40
"""Steps before any set is given up."""


def oler_surplus(*, count: int, region: Oblong) -> float:
    """By how much the bound of points that are 1 apart in the region is above the count; negative: they do not fit.

    Notes: bound 2 A / sqrt(3) + P / 2 + 1 for area A and girth P of a convex region.
    Source: Oler, 1961, an inequality in the geometry of numbers (from memory).
    """
    return 2 * region.area / math.sqrt(3) + region.girth / 2 + 1 - count


def find_places(*, count: int, region: Oblong, effort: Effort = THOROUGH, seed: int = 0) -> Points | None:
    """Points of the region at least 1 apart, shape (count, 2), or `None` where the search finds none.

    Deterministic: the same arguments give the same points. `None` is no proof that there are none.
    Notes: overlaps are settled by descent of the sum of (1 - d^2)^2 over the pairs that are too near, many starts side by
    side; where next to nothing is left, the least distance is raised by linear programs. Sets that settle best are shaken
    for the next round: some points go elsewhere, or all move.
    """
    if oler_surplus(count=count, region=region) < -1e-9:
        return None
    chance = np.random.default_rng(seed)
    batch = np.stack(list(starting_points(count=count, region=region, chance=chance, limit=effort.sets)))
    for turn in range(effort.rounds):
        if turn:
            batch = _shaken(batch, region, chance)
        batch, worst = _settled(batch, region, effort)
        for number, missing in enumerate(worst):
            points: Points = batch[number]
            if missing <= 0:
                return points
            if effort.refine and missing < WORTH_REFINING:
                refined, least = _refined(points, region)
                if least >= 1.0:
                    return refined
    return None


def least_distance(points: Points) -> float:
    """Least distance between two of the points; infinite for fewer than two."""
    if len(points) < 2:
        return math.inf
    first, second = np.triu_indices(len(points), 1)
    return float(np.sqrt(((points[first] - points[second]) ** 2).sum(axis=1).min()))


@dataclass(frozen=True)
class _Motion:
    """Sets on their way downhill: where their points are and how fast, each set with a pace and a blend of its own."""

    batch: Batch
    speed: Batch
    pace: Batch
    blend: Batch

    def of(self, sets: npt.NDArray[np.bool_]) -> _Motion:
        """Only some of the sets."""
        return _Motion(self.batch[sets], self.speed[sets], self.pace[sets], self.blend[sets])

    def stepped(self, force: Batch, region: Oblong) -> _Motion:
        """One step on: faster downhill; a set that would go uphill stands still and starts again with shorter steps.

        Source: after Bitzek and others, 2006, structural relaxation made simple (from memory).
        """
        downhill = _inner(force, self.speed) > 0
        turn = np.sqrt(_inner(self.speed, self.speed) / (_inner(force, force) + 1e-300))
        speed = np.where(downhill, (1 - self.blend) * self.speed + self.blend * turn * force, 0.0)
        pace = np.where(downhill, np.minimum(self.pace * 1.1, 0.25), self.pace * 0.5)
        moved = region.pulled_in(self.batch + pace * (speed + pace * force))
        return _Motion(moved, (moved - self.batch) / pace, pace, np.where(downhill, self.blend * 0.99, 0.1))


def _settled(batch: Batch, region: Oblong, effort: Effort) -> tuple[Batch, Floats]:
    """The sets that were not given up, best first, moved downhill in their overlaps, and the worst 1 - d^2 missing in each."""
    each = (len(batch), 1, 1)
    motion = _Motion(region.pulled_in(batch), np.zeros_like(batch), np.full(each, 0.06), np.full(each, 0.1))
    goal = 1.0 if effort.refine else (1.0 + SPARE) ** 2
    for step in range(effort.steps):
        force, missing = _push(motion.batch, goal)
        if step % LOOK_EVERY == 0:
            expected = AT_FIRST * math.exp(-step / effort.patience) if effort.patience and step >= PATIENT else math.inf
            if missing.min() <= goal - 1.0 or missing.min() > expected:
                break
            hopeful = missing <= LAGGARDS * expected
            motion, force = motion.of(hopeful), force[hopeful]
        motion = motion.stepped(force, region)
    _, missing = _push(motion.batch, 1.0)
    order = np.argsort(missing, kind="stable")
    return motion.batch[order], missing[order]


def _inner(one: Batch, other: Batch) -> Batch:
    product: Batch = (one * other).sum(axis=(1, 2), keepdims=True)
    return product


def _push(batch: Batch, goal: float) -> tuple[Batch, Floats]:
    """How the overlaps push every point, and the worst goal - d^2 of each set."""
    across = batch[:, :, None, 0] - batch[:, None, :, 0]
    up = batch[:, :, None, 1] - batch[:, None, :, 1]
    missing = goal - across * across
    missing -= up * up
    own = np.arange(batch.shape[1])
    missing[:, own, own] = 0.0
    worst = missing.max(axis=(1, 2))
    np.maximum(missing, 0.0, out=missing)
    force = np.empty_like(batch)
    np.einsum("bij,bij->bi", missing, across, out=force[:, :, 0])
    np.einsum("bij,bij->bi", missing, up, out=force[:, :, 1])
    force *= 4.0
    return force, worst


def _shaken(batch: Batch, region: Oblong, chance: np.random.Generator) -> Batch:
    """The better half of the sets twice: once with a few points elsewhere, once with all moved a little."""
    half = batch[: (len(batch) + 1) // 2]
    moved = half + chance.normal(0, 1, half.shape) * chance.choice((0.08, 0.15, 0.3), (len(half), 1, 1))
    jumped = half.copy()
    for points in jumped:
        which = chance.choice(len(points), size=min(len(points), int(chance.integers(1, 4))), replace=False)
        points[which] = region.somewhere(chance, len(which))
    return region.pulled_in(np.concatenate([moved, jumped]))[: len(batch)]


def _refined(points: Points, region: Oblong) -> tuple[Points, float]:
    """The points with their least distance raised to a local summit, or to 1, and that distance."""
    best, record = points, least_distance(points)
    for _ in range(REFINEMENTS):
        moved = None if record >= 1.0 else _step(best, region)
        least = 0.0 if moved is None else least_distance(moved)
        if moved is None or least * least <= record * record + SETTLED:
            break
        best, record = moved, least
    return best, record


def _step(points: Points, region: Oblong) -> Points | None:
    """One linear program in the steps s and the square t of the least distance.

    Notes: t <= d^2 + 2 (x_i - x_j)(s_i - s_j); since d^2 is convex, a step inside the region is never worse than promised.
    """
    from scipy.optimize import linprog  # noqa: PLC0415  a second to import, and only thorough searches need it

    count = len(points)
    first, second = np.triu_indices(count, 1)
    apart = points[first] - points[second]
    square = (apart * apart).sum(axis=1)
    near = np.flatnonzero(square < NEAR * NEAR)
    if not near.size:
        return None
    pairs = np.arange(near.size)
    matrix = np.zeros((near.size, 2 * count + 1))
    for axis in (0, 1):
        matrix[pairs, 2 * first[near] + axis] = -2 * apart[near, axis]
        matrix[pairs, 2 * second[near] + axis] = 2 * apart[near, axis]
    matrix[:, -1] = 1.0
    low, high = region.room_to_move(points, (NEAR - 1.0) / 4)
    found = linprog(
        np.append(np.zeros(2 * count), -1.0),
        A_ub=matrix,
        b_ub=square[near],
        bounds=np.column_stack([np.append(low.ravel(), 0.0), np.append(high.ravel(), 4.0)]),
        method="highs",
    )
    return None if found.x is None else region.pulled_in(points + found.x[:-1].reshape(-1, 2))
