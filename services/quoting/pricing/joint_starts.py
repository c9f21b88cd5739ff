"""How many of every lot are started, chosen for all of them together.

One plan for the whole job: the cheapest known starts with which enough good lenses come out with the confidence asked for.
Elements are started once; groups and the lens are put together one after the other until enough are good. So a loss in cementing
takes an element more of each kind, and each lot must give as many good pieces as are taken in hand.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import pairwise, product
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from services.optics.law import law
from services.quoting.pricing.starts import start_quantity
from services.quoting.risk.losses import Losses
from services.quoting.risk.needs import Need, at_most, good_at_least, need_of
from shared_schemas.operations import Route
from shared_schemas.problem import FigureOutOfRange

Numbers = npt.NDArray[np.float64]

LEVELS = 16
"""Numbers of starts that are weighed for one lot: all of them for small lots, for large ones as many at equal steps."""
GRID = 64
"""Demands at which the chance of a lot is worked out; between them it is read."""
SURE = 5.0
"""Starts are weighed up to so many standard deviations of single losses beyond the mean."""
HALF = 0.5
"""Starts with less than this chance to be enough are not weighed: no plan with that confidence or more has them."""
FURTHEST = 0.25
"""No lot is started more than this share over its mean need to cover whole batches: a shop makes a lost block again (common practice)."""
COMBINATIONS = 1024
"""So many combinations of needs at most are told apart where several groups take of one lot."""


Costs = Callable[[Numbers], Numbers]
"""What numbers of starts cost, shape (k,) in and out."""


@dataclass(frozen=True)
class Lot:
    """What is started once: an element, by one way."""

    part: str
    losses: Losses
    costs: Costs


@dataclass(frozen=True)
class Cluster:
    """Lots whose demands hang together, as the same groups take of them.

    For every need of the lens (i) and way the groups may go (j): `chance`, shape (i, j), sums 1 over j, and for each lot its `demand`, shape (i, j).
    """

    chance: Numbers
    demand: Mapping[str, Numbers]


@dataclass(frozen=True)
class Job:
    """What is asked of every lot: the need of lenses, and the clusters of lots."""

    lens: Need
    clusters: tuple[Cluster, ...]

    @cached_property
    def demand(self) -> dict[str, tuple[Numbers, Numbers]]:
        """For each lot the demands, flat, and their chances."""
        flat = {}
        for cluster in self.clusters:
            chance = (self.lens.chance[:, None] * cluster.chance).ravel()
            for part, demand in cluster.demand.items():
                flat[part] = (demand.ravel(), chance)
        return flat

    def chance_of(self, tails: Mapping[str, Numbers]) -> float:
        """P(enough good lenses): over all needs, the product of what every lot gives; `tails` are flat, as the demands."""
        whole = self.lens.chance.copy()
        for cluster in self.clusters:
            inside = cluster.chance.copy()
            for part, demand in cluster.demand.items():
                inside *= tails[part].reshape(demand.shape)
            whole *= inside.sum(axis=1)
        return float(whole.sum())


NO_SPARES: Mapping[str, int] = MappingProxyType({})
"""Nothing is delivered but lenses."""


def job_of(
    *, routes: Sequence[Route], quantity: int, losses: Mapping[str, Losses], spare_parts: Mapping[str, int] = NO_SPARES
) -> Job:
    """What a quantity and its spare parts ask of every lot; lenses and groups are put together one after the other until enough are good."""
    lens = routes[-1]
    need = need_of(wanted=quantity, losses=losses[lens.part])
    by_part = {route.part: route for route in routes}
    taken: dict[str, dict[str | None, int]] = {}
    for consumed in lens.consumes:
        inner = by_part[consumed.part]
        if inner.kind == "element":
            taken.setdefault(consumed.part, {})[None] = consumed.count + taken.get(consumed.part, {}).get(None, 0)
        for deeper in inner.consumes:
            taken.setdefault(deeper.part, {})[consumed.part] = deeper.count
    groups = {consumed.part: consumed.count for consumed in lens.consumes if by_part[consumed.part].kind == "cemented_group"}
    return Job(need, tuple(_cluster(parts, taken, groups, need, losses, spare_parts) for parts in _together(taken)))


def _together(taken: Mapping[str, Mapping[str | None, int]]) -> list[list[str]]:
    """Parts that the same groups take of, together; a part that only the lens takes alone."""
    clusters: list[tuple[set[str], list[str]]] = []
    for part, consumers in taken.items():
        of_groups = {name for name in consumers if name is not None}
        joined = [one for one in clusters if one[0] & of_groups]
        for one in joined:
            clusters.remove(one)
        clusters.append((of_groups.union(*(one[0] for one in joined)), [*(name for one in joined for name in one[1]), part]))
    return [parts for _, parts in clusters]


def _cluster(
    parts: Sequence[str], taken: Mapping[str, Mapping[str | None, int]], groups: Mapping[str, int], lens: Need, losses: Mapping[str, Losses],
    spare_parts: Mapping[str, int],
) -> Cluster:  # fmt: skip
    names = [name for name in groups if any(name in taken[part] for part in parts)]
    if not names:
        ones = np.ones((len(lens.pieces), 1))
        return Cluster(ones, {part: lens.pieces[:, None] * taken[part][None] + spare_parts.get(part, 0) for part in parts})
    most = max(2, int(COMBINATIONS ** (1 / len(names))))
    chances, demands = [], {part: list[list[float]]() for part in parts}
    for sets in lens.pieces:
        needs = [
            at_most(need_of(wanted=round(sets * groups[name] + spare_parts.get(name, 0), 6), losses=losses[name]), most)
            for name in names
        ]
        ways = list(product(*(range(len(need.pieces)) for need in needs)))
        chances.append([math.prod(float(need.chance[i]) for need, i in zip(needs, way, strict=True)) for way in ways])
        for part in parts:
            direct = sets * taken[part].get(None, 0) + spare_parts.get(part, 0)
            demands[part].append(
                [
                    direct
                    + sum(float(need.pieces[i]) * taken[part].get(name, 0) for name, need, i in zip(names, needs, way, strict=True))
                    for way in ways
                ]
            )
    width = max(map(len, chances))
    padded = np.array([row + [0.0] * (width - len(row)) for row in chances])
    return Cluster(padded, {part: np.array([row + [0.0] * (width - len(row)) for row in rows]) for part, rows in demands.items()})


@dataclass
class Levels:
    """Numbers of starts that are weighed for one lot, rising, with their cost and what they give at every demand (shape (k, demands))."""

    lot: Lot
    numbers: list[int]
    costs: Numbers
    demand: Numbers
    chance: Numbers
    places: Numbers
    tails: dict[int, Numbers] = field(default_factory=dict)

    def tail(self, number: int) -> Numbers:
        """P(the lot gives enough) at every demand, when so many are started."""
        if number not in self.tails:
            chances = good_at_least(started=number, wanted=self.places, losses=self.lot.losses)
            self.tails[number] = np.interp(self.demand, self.places, chances)
        return self.tails[number]

    def worth(self, number: int) -> float:
        """Logarithm of the chance that the lot is enough, over all demands."""
        return math.log(max(float(self.chance @ self.tail(number)) / float(self.chance.sum()), 1e-300))


def _places(demand: Numbers) -> Numbers:
    """Demands at which chances are worked out; between them they are read."""
    places = np.unique(demand)
    return places if len(places) <= GRID else np.linspace(places[0], places[-1], GRID)


@dataclass(frozen=True)
class Step:
    """One step of the plan: a lot goes to a larger number, for so much more chance (in its logarithm) a unit of money."""

    slope: float
    part: str
    before: int
    number: int


@dataclass(frozen=True)
class JointStarts:
    """The starts of every lot, the chance that they are enough, the chance that was aimed at, and the kits of the lens."""

    started: Mapping[str, int]
    chance: float
    aim: float
    kits: int
    job: Job


def joint_starts(
    *, routes: Sequence[Route], quantity: int, confidence: float, losses: Mapping[str, Losses], lots: Sequence[Lot],
    spare_parts: Mapping[str, int] = NO_SPARES,
) -> JointStarts:  # fmt: skip
    """Starts of all lots together: P(at least `quantity` good lenses, and the spare parts) >= `confidence`, or the chance that is in reach.

    Notes:
        Of each lot the numbers are kept that give most chance for their cost (the upper hull of ln P over cost). All steps
        from one to the next, of all lots, are taken in the order of what they give for their money until the chance is reached; the last step
        only as far as is needed. The order does not depend on the confidence: with more of it no lot is started less. Kits of bought
        parts are enough for the lenses taken in hand with the square root of the confidence; a barrel is not lost with a lens that is opened.

    Source: marginal allocation along the efficient frontier (from memory: B. Fox, 1966, Operations Research 14); the method for
        assemblies with random yields after Y. Gerchak and C. A. Yano (1989).

    Raises: FigureOutOfRange for a confidence that is none.
    """
    if not 0 < confidence < 1:
        raise FigureOutOfRange("confidence", confidence, "over 0 and below 1")
    kits = start_quantity(
        wanted=quantity, yield_share=losses[routes[-1].part].yield_share, confidence=math.sqrt(confidence),
        batches=losses[routes[-1].part].batches,
    )  # fmt: skip
    job = job_of(routes=routes, quantity=quantity, losses=losses, spare_parts=spare_parts)
    levels = {lot.part: _levels(lot, job) for lot in lots}
    best = job.chance_of({part: one.tail(one.numbers[-1]) for part, one in levels.items()})
    aim = reachable_chance(confidence=confidence, best=best)
    started = _plan(job, levels, aim)
    return JointStarts(started, job.chance_of({part: one.tail(started[part]) for part, one in levels.items()}), aim, kits, job)


def chance_of_starts(job: Job, started: Mapping[str, int], losses: Mapping[str, Losses]) -> float:
    """The chance that starts which were not planned here are enough."""
    tails = {}
    for part, (demand, _) in job.demand.items():
        places = _places(demand)
        tails[part] = np.interp(demand, places, good_at_least(started=started[part], wanted=places, losses=losses[part]))
    return job.chance_of(tails)


@law
def reachable_chance(*, confidence: float, best: float) -> float:
    """The chance that starts aim at: the confidence, bent off where the loss of whole lots leaves less than it.

    Equation: min(confidence, best - (1 - confidence) / 2)
    Notes: from 2 best - 1 on the chance rises half as fast, to the best there is at a confidence of 1; more starts would only
        buy a second batch against a loss that is rare. What is lost then is made again, which is in the price and in the risk.
    """
    return min(confidence, best - (1 - confidence) / 2)


def _levels(lot: Lot, job: Job) -> Levels:
    demand, chance = job.demand[lot.part]
    mean = float(demand @ chance / chance.sum())
    good, singly = lot.losses.mean_yield, lot.losses.yield_share
    if good >= 1:
        numbers = [math.ceil(float(demand.max()) - 1e-9)]
    else:
        of_all = math.sqrt(lot.losses.variance(1) * mean / good) / good
        first = max(math.ceil(float(demand.min()) - 1e-9), math.floor(mean / good - of_all))
        spread = math.sqrt(mean * (1 - singly)) / singly
        beyond = max(float(demand.max()) - mean, 0.0) / good
        last = math.ceil(mean / good + beyond + max(SURE * spread, min(SURE * of_all, FURTHEST * mean / good))) + 1
        numbers = _spaced(first, max(last, first + 1))
    made = Levels(lot, numbers, lot.costs(np.array(numbers, dtype=float)), demand, chance, _places(demand))
    kept = next((place for place, number in enumerate(numbers) if made.worth(number) >= math.log(HALF)), len(numbers) - 1)
    return replace(made, numbers=numbers[kept:], costs=made.costs[kept:])


def _spaced(first: int, last: int) -> list[int]:
    if last - first < LEVELS:
        return list(range(first, last + 1))
    return sorted({round(number) for number in np.linspace(first, last, LEVELS)})


def _hull(levels: Levels) -> list[Step]:
    """Steps along the upper hull of ln P over cost, from the first number on; what costs no more and gives no less comes first."""
    points = [(float(cost), levels.worth(number), number) for number, cost in zip(levels.numbers, levels.costs, strict=True)]
    hull = [points[0]]
    for point in points[1:]:
        if point[1] <= hull[-1][1] + 1e-12:
            continue
        while len(hull) > 1 and _slope(hull[-1], point) >= _slope(hull[-2], hull[-1]):
            hull.pop()
        hull.append(point)
    return [Step(_slope(low, high), levels.lot.part, low[2], high[2]) for low, high in pairwise(hull)]


def _slope(low: tuple[float, float, int], high: tuple[float, float, int]) -> float:
    return (high[1] - low[1]) / max(high[0] - low[0], 1e-9)


def _plan(job: Job, levels: Mapping[str, Levels], aim: float) -> dict[str, int]:
    """The starts after the fewest steps that reach the chance aimed at, which all of them together do."""
    order = {part: place for place, part in enumerate(levels)}
    steps = sorted(
        (step for one in levels.values() for step in _hull(one)), key=lambda one: (-one.slope, order[one.part], one.number)
    )

    def after(count: int) -> dict[str, int]:
        started = {part: one.numbers[0] for part, one in levels.items()}
        for step in steps[:count]:
            started[step.part] = step.number
        return started

    def chance(started: Mapping[str, int]) -> float:
        return job.chance_of({part: one.tail(started[part]) for part, one in levels.items()})

    few, many = -1, len(steps)
    while many - few > 1:
        half = (few + many) // 2
        few, many = (few, half) if chance(after(half)) >= aim else (half, many)
    started = after(many)
    if many:
        last = steps[many - 1]
        low, high = last.before, last.number
        while high - low > 1:
            half = (low + high) // 2
            low, high = (low, half) if chance({**started, last.part: half}) >= aim else (half, high)
        started[last.part] = high
    return started
