"""Whole batches that are lost together: a block that comes off, a coating run that goes wrong."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import betainc, ndtr

from services.quoting.costs.rework import batches_scrapped_by, kept_by
from shared_schemas.operation_kinds import operations_that
from shared_schemas.operations import Operation

ONE_BLOCK = frozenset(operations_that(lambda kind: kind.on_block))
"""Operations of a face through which the same lenses stay on the same block."""
LEAST_CHANCE = 5e-5
"""Ways to lose batches that are rarer than this are left out of a list of all ways."""
MANY_LOST = 12
"""When so many batches are expected to be lost, their number is taken as normal: the sum over all numbers would take long."""
MANY_WAYS = 120
"""When there are so many ways to lose batches, what is left is taken as normal."""


@dataclass(frozen=True)
class Batches:
    """Batches that can be lost: how many started pieces stand behind one, its pieces, and the chance that one is lost."""

    starts: int
    pieces: int
    chance: float


@dataclass(frozen=True)
class Losses:
    """What a route loses: each piece by itself (`yield_share` is what survives), and batches together."""

    yield_share: float
    batches: tuple[Batches, ...] = ()

    @property
    def mean_yield(self) -> float:
        """Share of the started pieces that come out good in the mean."""
        share = self.yield_share
        for batch in self.batches:
            share *= 1 - batch.chance
        return share

    def variance(self, started: int) -> float:
        """Variance of the good pieces out of `started`.

        Notes:
            n Y (1 - Y) + n Y^2 sum of (B - 1) p / (1 - p) over the kinds of batches: pieces of one batch go together.
            Source: derived; pieces that share two batches are counted for each.
        """
        mean = self.mean_yield
        together = sum((batch.starts - 1) * batch.chance / (1 - batch.chance) for batch in self.batches)
        return started * (mean * (1 - mean) + mean**2 * together)

    def many(self, started: int) -> bool:
        """Whether more batches are expected to be lost than an exact sum takes."""
        return any(started / batch.starts * batch.chance > MANY_LOST for batch in self.batches)


def losses_of(operations: Sequence[Operation]) -> Losses:
    """Single and batch losses of a route.

    Notes:
        A batch of one piece is a single loss. Operations on one block of a face lose it once: p = 1 - (1 - p_1)(1 - p_2).
        A batch of B pieces at an operation that the share r of all pieces reaches stands for round(B / r) started ones.
    """
    reach = 1.0
    kinds: dict[tuple[object, ...], Batches] = {}
    for position, operation in enumerate(operations):
        scrapped = batches_scrapped_by(operation)
        if scrapped > 0 and operation.batch_size > 1:
            on_block = operation.operation in ONE_BLOCK and operation.face is not None
            key = (operation.face, operation.batch_size) if on_block else (position,)
            before = kinds.get(key)
            chance = 1 - (1 - (before.chance if before else 0.0)) * (1 - scrapped)
            starts = before.starts if before else round(operation.batch_size / reach)
            kinds[key] = Batches(starts, operation.batch_size, chance)
        reach *= kept_by(operation) * (1 - scrapped if operation.batch_size == 1 else 1.0)
    return Losses(reach, tuple(kinds.values()))


def chances_of_enough(*, most: int, wanted: int, losses: Losses) -> np.ndarray:
    """P(at least `wanted` come out good) for wanted, wanted + 1 … `most` started pieces.

    Returns:
        Probabilities, shape (most - wanted + 1,), rising: one piece more goes into the last batch and changes no other.

    Notes:
        An exact mixture over the number of lost batches: of n pieces in F full batches and one of r, P(n) =
        sum over L of Bin(L; F, p) [(1 - p) P'(n - L B) + p P'(n - L B - r)], where P' is the chance without this kind of
        batch; without any it is the binomial tail. The batches of the next kind are
        made of what the kind before left.
        Where over 12 batches are expected to be lost, the number of good pieces is taken as normal.

    Source: derived; the tail as incomplete beta function: Abramowitz & Stegun 26.5.24, from memory.
    """
    if wanted <= 0:
        return np.ones(most - wanted + 1)
    if losses.many(wanted):
        started = np.arange(wanted, most + 1)
        return np.asarray(ndtr((started * losses.mean_yield - wanted + 0.5) / np.sqrt(losses.variance(1) * started)))
    first = min(_first_with_a_chance(wanted, losses.yield_share), most)
    started = np.arange(first, most + 1)
    chances = np.ones(len(started)) if losses.yield_share >= 1 else betainc(wanted, started - wanted + 1, losses.yield_share)
    for batches in reversed(losses.batches):
        chances = _with_lost_batches(chances, started, batches)
    return np.concatenate((np.zeros(first - wanted), chances))


def _first_with_a_chance(wanted: int, yield_share: float) -> int:
    """Below this number (eight standard deviations under the mean rule) enough do not come out even if no batch is lost."""
    mean = wanted / yield_share
    return max(wanted, int(mean - 8 * np.sqrt(mean * (1 - yield_share)) / yield_share) - 8)


def _with_lost_batches(enough: np.ndarray, started: np.ndarray, batches: Batches) -> np.ndarray:
    first = int(started[0])
    full, rest = np.divmod(started, batches.starts)
    weight = (1 - batches.chance) ** full
    whole = np.zeros(len(started))
    for lost in range((int(started[-1]) - first) // batches.starts + 1):
        kept = _earlier(enough, lost * batches.starts)
        without_rest = np.where(rest == 0, kept, _at(enough, started - first - lost * batches.starts - rest))
        chance = np.where(rest == 0, 0.0, batches.chance)
        whole += weight * ((1 - chance) * kept + chance * without_rest)
        weight = weight * ((full - lost) / (lost + 1) * batches.chance / (1 - batches.chance))
        if lost > full[-1] * batches.chance and weight[-1] < LEAST_CHANCE**3:
            break
    return np.minimum(whole, 1.0)


def _earlier(values: np.ndarray, by: int) -> np.ndarray:
    """Values `by` places earlier, 0 before the first."""
    return values if by == 0 else np.concatenate((np.zeros(min(by, len(values))), values[:-by]))


def _at(values: np.ndarray, places: np.ndarray) -> np.ndarray:
    return np.where(places >= 0, values[np.maximum(places, 0)], 0.0)


@dataclass(frozen=True)
class LeftOver:
    """Ways to lose batches: how many started pieces are left (shape (k,)), and the chance of each way (shape (k,), sum 1)."""

    pieces: np.ndarray
    chance: np.ndarray


def left_after_batches(*, started: int, batches: Sequence[Batches]) -> LeftOver:
    """How many of the started pieces are in batches that are not lost, with the chance of each number."""
    if Losses(1.0, tuple(batches)).many(started):
        return _normally(started, Losses(1.0, tuple(batches)))
    ways = {started: 1.0}
    for batch in batches:
        ways = _after(ways, batch)
        if len(ways) > MANY_WAYS:
            return _normally(started, Losses(1.0, tuple(batches)))
    pieces = sorted(ways, reverse=True)
    chance = np.array([ways[number] for number in pieces])
    return LeftOver(np.array(pieces), chance / chance.sum())


def _after(ways: dict[int, float], batch: Batches) -> dict[int, float]:
    left_with: dict[int, float] = {}
    for number, chance in ways.items():
        full, rest = divmod(number, batch.starts)
        weight = chance * (1 - batch.chance) ** full
        lost = 0
        while lost <= full and (weight > LEAST_CHANCE or lost <= full * batch.chance):
            left = number - lost * batch.starts
            whole = weight * (1 - batch.chance) if rest else weight
            left_with[left] = left_with.get(left, 0.0) + whole
            if rest and weight * batch.chance > LEAST_CHANCE:
                left_with[left - rest] = left_with.get(left - rest, 0.0) + weight * batch.chance
            weight *= (full - lost) / (lost + 1) * batch.chance / (1 - batch.chance)
            lost += 1
    return left_with


def _normally(started: int, losses: Losses) -> LeftOver:
    steps = np.linspace(-4, 4, 81)
    pieces = np.rint(started * losses.mean_yield + steps * np.sqrt(losses.variance(started)))
    chance = np.exp(-(steps**2) / 2)
    return LeftOver(np.clip(pieces, 0, started).astype(int), chance / chance.sum())
