"""What actual minutes say of the minutes that the rates plan: by how much a factor is off, how sure that is, and since when.

What is learned from is the logarithm of actual over planned minutes of each job in each cell: an operation at a work centre, on a class of glass, to a class
of tolerance. Four steps: how far single jobs scatter, all factors together; since when a factor is what it is now; a robust mean of each cell;
cells drawn towards their factor and factors towards the present rates, the more the fewer jobs they have.

The interval is of the mixture of all that is not known: the two spreads, the scatter (so that few jobs have the tails of Student's t), and
whether there was a change. An interval that takes one of them as known is too short: C. Morris, J. American Statistical Association 78 (1983) 47.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple, TypeVar

import numpy as np
from scipy.special import betaln, chdtri

from services.orders.domain.drift import begins_of
from services.orders.domain.hierarchy import UNSEEN, Mixture, Spreads, even_spreads, given_spreads, likeliest
from services.orders.domain.robust import HUBER_EFFICIENCY, Cells, Floats, Ints, Scatter, cells_of

Key = TypeVar("Key", bound=Hashable)

USUAL_SCATTER = 0.15
"""Standard deviation of the logarithm of the minutes of a job about their mean, before any is known. Common practice."""
SCATTER_JOBS = 4
"""So many jobs the usual scatter counts for beside those of a shop."""
BEFOREHAND_JOBS = 1
"""So many it counts for where a factor is looked at by itself, to learn what is usual: more would hold what is clipped to it."""
ALIKE = (6.0, 12.0, 25.0, 50.0, 100.0)
"""So many jobs the scatter of the shop may count for beside those of a factor: few where factors scatter very differently, many where they are alike."""
MOST_SPREAD, MOST_CELL_SPREAD = 0.7, 0.35
"""Beyond what rates of a shop are off [log ratio]: half or double; and cells of one factor about it."""
SPREADS, CELL_SPREADS = 16, 6
LEAST_LIKELY = 0.003
"""Pairs of spreads that are less likely than this beside the likeliest one are left out."""
SCATTERS = 5
"""So many values the scatter of a factor is tried with, each as likely as another."""
CELL_JOBS = 4
"""So many jobs make a cell's own middle count half, where a change is looked for."""
INTERVAL = 0.8
SURE = 0.998
"""An interval of so much probability must lie on one side of the present rate before a change is proposed: a shop has many rates."""
LEAST_CHANGE = 0.03
"""A rate that is off by less is left alone."""
FEWEST_JOBS = 5
"""Fewer jobs change no rate, and none of them counts for more than `MOST_SPREAD`."""


class JobRatio(NamedTuple):
    """One job in one cell of a factor: the day it was done, its name, the logarithm of actual over planned minutes, and those planned.

    What a job did several times in one cell is one entry: it is one sample of what differs from job to job.
    """

    day: date
    job: str
    cell: tuple[str, ...]
    log_ratio: float
    planned_min: float = 1.0


@dataclass(frozen=True)
class CellLearned:
    """What jobs say of one cell of a factor."""

    cell: tuple[str, ...]
    jobs: int
    ratio: float
    low: float
    high: float


@dataclass(frozen=True)
class Changed:
    """A change of a factor: the day of the first job after it, and what the ratio was before."""

    since: date
    ratio_before: float


@dataclass(frozen=True)
class Learned:
    """What jobs say of one factor: actual minutes are `ratio` times those planned, within `low` and `high` by four in five.

    `jobs` are those since the last change of `all_jobs`, and `change_chance` is how likely it is that there was one. The ratio is of the mix of
    cells of those jobs. `is_sure` says that the present rate is off. Errors are mean absolute shares of the actual minutes of these jobs,
    planned as now and with what the other jobs say.
    """

    jobs: int
    all_jobs: int
    changed: Changed | None
    change_chance: float
    ratio: float
    low: float
    high: float
    is_sure: bool
    error_before: float
    error_after: float
    cells: tuple[CellLearned, ...]


@dataclass(frozen=True)
class _History:
    """The jobs of a factor in the order of their days."""

    values: Floats
    days: Ints
    cells: Ints
    planned_min: Floats
    jobs: tuple[str, ...]
    names: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class _Since:
    """The jobs of a factor from one of them on, and the chance that it is what it is now since then."""

    begins: int
    chance: float
    cells: Cells

    @property
    def above_centre(self) -> float:
        """How far the logarithm of the mean lies above the mean of the logarithms: minutes are taken to be log-normal."""
        return self.cells.scatter.own**2 / 2

    @property
    def estimates(self) -> Floats:
        """The logarithm of the mean ratio of each cell; 0 for a cell without a job."""
        return np.where(self.cells.counts > 0, self.cells.centres + self.above_centre, 0.0)

    def variances(self, counts: Floats) -> Floats:
        """The squared error of such estimates from so many jobs."""
        scatter = self.cells.scatter
        of_scatter = scatter.own**4 / (2 * scatter.own_freedom) if scatter.own_freedom else 0.0
        return np.where(counts > 0, scatter.drawn**2 / (HUBER_EFFICIENCY * np.maximum(counts, 1)) + of_scatter, UNSEEN)


def learn(histories: Mapping[Key, Sequence[JobRatio]]) -> dict[Key, Learned]:
    """What the jobs of each factor say of its rate, in any order; factors without any are left out."""
    seen = {key: _history(jobs) for key, jobs in histories.items() if jobs}
    if not seen:
        return {}
    beforehand = UsualScatter(USUAL_SCATTER, BEFOREHAND_JOBS)
    usual = usual_scatter([_cells(history, 0, None, beforehand).scatter for history in seen.values()])
    since = {key: _since(history, usual) for key, history in seen.items()}
    spreads, weights = _spreads([_now(each) for each in since.values()])
    return {key: _learned(history, since[key], spreads, weights) for key, history in seen.items()}


def _history(jobs: Sequence[JobRatio]) -> _History:
    ordered = sorted(jobs)
    names = tuple(sorted({job.cell for job in ordered}))
    places = {name: place for place, name in enumerate(names)}
    cells = np.array([places[job.cell] for job in ordered], dtype=np.intp)
    values = np.array([job.log_ratio for job in ordered])
    days = np.array([job.day.toordinal() for job in ordered], dtype=np.intp)
    planned_min = np.array([job.planned_min for job in ordered])
    return _History(held(values, cells), days, cells, planned_min, tuple(job.job for job in ordered), names)


def held(values: Floats, cells: Ints) -> Floats:
    """Values, those of a cell of few jobs no further than `MOST_SPREAD` from the middle of the factor; that is 0 where it has few jobs itself."""
    middle = float(np.median(values)) if len(values) >= FEWEST_JOBS else 0.0
    few = np.bincount(cells)[cells] < FEWEST_JOBS
    return np.where(few, np.clip(values, middle - MOST_SPREAD, middle + MOST_SPREAD), values)


@dataclass(frozen=True)
class UsualScatter:
    """The scatter of single jobs in a shop, and for so many jobs it counts beside those of a factor."""

    size: float
    jobs: float


def usual_scatter(of_factors: Sequence[Scatter]) -> UsualScatter:
    """The scatter that factors of a shop have on average, drawn towards `USUAL_SCATTER`, and how alike theirs are.

    Notes:
        Of a factor with f degrees of freedom s**2 / s0**2 follows F(f, d), where d are the jobs that s0 counts for; d is averaged over `ALIKE`, none
        likelier than another beforehand.

    Source:
        G. K. Smyth, as in `cells_of`. From memory.
    """
    own = np.array([one.own for one in of_factors if one.own_freedom])
    freedom = np.array([one.own_freedom for one in of_factors if one.own_freedom])
    size2 = (SCATTER_JOBS * USUAL_SCATTER**2 + float(freedom @ own**2)) / (SCATTER_JOBS + float(np.sum(freedom)))
    alike = np.array(ALIKE)[:, None]
    log_p = np.sum(
        alike / 2 * np.log(alike)
        - betaln(freedom / 2, alike / 2)
        - (freedom + alike) / 2 * np.log(freedom * own**2 / size2 + alike),
        axis=1,
    )
    chances = np.exp(log_p - np.max(log_p))
    return UsualScatter(math.sqrt(size2), float(np.exp(np.log(ALIKE) @ chances / np.sum(chances))))


def _cells(history: _History, begin: int, end: int | None, usual: UsualScatter) -> Cells:
    """The cells of some of the jobs of a factor."""
    values, cells = history.values[begin:end], history.cells[begin:end]
    return cells_of(values, cells, len(history.names), usual_scatter=usual.size, usual_freedom=usual.jobs)


def _since(history: _History, usual: UsualScatter) -> list[_Since]:
    """From which job on a factor may be what it is now; its cells since then."""
    count, middle = len(history.names), np.median(history.values)
    sizes = np.bincount(history.cells, minlength=count)
    middles = np.array([np.median(history.values[history.cells == cell]) for cell in range(count)])
    of_cells = sizes / (sizes + CELL_JOBS) * (middles - middle)
    begins = begins_of(history.values - of_cells[history.cells], history.days, usual_scatter=usual.size, usual_freedom=usual.jobs)
    return [_Since(begin, chance, _cells(history, begin, None, usual)) for begin, chance in begins]


def _now(since: Sequence[_Since]) -> _Since:
    return max(since, key=lambda one: one.chance)


def _spreads(now: Sequence[_Since]) -> tuple[Spreads, Floats]:
    """The likely pairs of spreads and their weights, as all factors together say."""
    spreads = even_spreads(most_cell=MOST_CELL_SPREAD, most_group=MOST_SPREAD, cells=CELL_SPREADS, groups=SPREADS)
    sizes = [len(one.cells.counts) for one in now]
    given = given_spreads(
        np.concatenate([one.estimates for one in now]),
        np.concatenate([one.variances(one.cells.counts) for one in now]),
        np.cumsum([0, *sizes[:-1]]),
        spreads,
    )
    kept, weights = likeliest(given.log_likelihoods, least=LEAST_LIKELY)
    return Spreads(spreads.cell[kept], spreads.group[kept]), weights


def _learned(history: _History, since: Sequence[_Since], spreads: Spreads, weights: Floats) -> Learned:
    now = _now(since)
    jobs = len(set(history.jobs[now.begins :]))
    mixture = _believed(history, since, now, spreads, weights)
    ratios, low, high = (
        np.exp(each) for each in (mixture.mean, mixture.quantile((1 - INTERVAL) / 2), mixture.quantile((1 + INTERVAL) / 2))
    )
    whole = Mixture(mixture.means[:1], mixture.deviations[:1], mixture.weights)
    is_off = jobs >= FEWEST_JOBS and abs(ratios[0] - 1) >= LEAST_CHANGE
    before, after = errors_of(history.values[now.begins :], history.cells[now.begins :], now, spreads, weights)
    return Learned(
        jobs=jobs,
        all_jobs=len(set(history.jobs)),
        changed=_change(history, since, now),
        change_chance=1 - since[0].chance,
        ratio=float(ratios[0]),
        low=float(low[0]),
        high=float(high[0]),
        is_sure=bool(is_off and (whole.quantile((1 - SURE) / 2)[0] > 0 or whole.quantile((1 + SURE) / 2)[0] < 0)),
        error_before=before,
        error_after=after,
        cells=tuple(
            CellLearned(name, int(now.cells.counts[place]), float(ratios[place + 1]), float(low[place + 1]), float(high[place + 1]))
            for place, name in enumerate(history.names)
        ),
    )


def _change(history: _History, since: Sequence[_Since], now: _Since) -> Changed | None:
    if not now.begins:
        return None
    begun = max(one.begins for one in since if one.begins < now.begins)
    before = np.exp(history.values[begun : now.begins])
    return Changed(date.fromordinal(int(history.days[now.begins])), float(np.median(before)))


def _believed(history: _History, since: Sequence[_Since], now: _Since, spreads: Spreads, weights: Floats) -> Mixture:
    """What is believed of a factor in the mix of its cells (first row) and of each cell, over all that is not known."""
    count, pairs = len(history.names), len(weights)
    estimates, variances = [], []
    for one in since:
        freedom = one.cells.scatter.freedom
        nodes = (np.arange(SCATTERS) + 0.5) / SCATTERS
        for larger in freedom / chdtri(freedom, nodes):
            estimates.append(one.estimates)
            variances.append(one.variances(one.cells.counts) * larger)
    tried = len(estimates)
    given = given_spreads(np.concatenate(estimates), np.concatenate(variances), np.arange(tried) * count, spreads)
    shape = (tried, count, pairs)
    planned_min = np.bincount(history.cells[now.begins :], history.planned_min[now.begins :], minlength=count)
    mix = (planned_min / np.sum(planned_min))[None, :, None]
    own, means = given.own_share.reshape(shape), given.cell_means.reshape(shape)
    errors = own * np.concatenate(variances).reshape(tried, count, 1)
    of_mix = np.sum(mix**2 * errors, axis=1) + np.sum(mix * (1 - own), axis=1) ** 2 * given.group_variances
    rows = np.concatenate([np.sum(mix * means, axis=1, keepdims=True), means], axis=1)
    squares = np.concatenate([of_mix[:, None, :], given.cell_variances.reshape(shape)], axis=1)
    chances = np.repeat([one.chance for one in since], SCATTERS) / SCATTERS
    return Mixture(
        np.moveaxis(rows, 1, 0).reshape(count + 1, -1),
        np.sqrt(np.moveaxis(squares, 1, 0).reshape(count + 1, -1)),
        (chances[:, None] * weights).ravel(),
    )


def errors_of(values: Floats, cells: Ints, now: _Since, spreads: Spreads, weights: Floats) -> tuple[float, float]:
    """Mean absolute errors of the jobs' minutes as shares of the actual ones: planned as now, and each with what the others say.

    The spreads are the likeliest, and the weight of each job is that among all.
    """
    cell2, group2 = spreads.cell[np.argmax(weights)] ** 2, spreads.group[np.argmax(weights)] ** 2
    y, counts, of_jobs = now.estimates, now.cells.counts, now.cells.weights
    sums = np.bincount(cells, of_jobs, minlength=len(y))[cells]
    others = np.maximum(sums - of_jobs, 1e-12)
    y_others = np.where(counts[cells] > 1, (sums * now.cells.centres[cells] - of_jobs * values) / others + now.above_centre, 0.0)
    u, u_others = now.variances(counts) + cell2, now.variances(counts[cells] - 1) + cell2
    precision = np.sum(1 / u) - 1 / u[cells] + 1 / u_others
    whole = (np.sum(y / u) - y[cells] / u[cells] + y_others / u_others) / precision
    group = group2 / (1 / precision + group2) * whole
    planned = cell2 / u_others * y_others + (1 - cell2 / u_others) * group
    return float(np.mean(np.abs(np.expm1(-values)))), float(np.mean(np.abs(np.expm1(planned - values))))
