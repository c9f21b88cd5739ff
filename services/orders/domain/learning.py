"""What actual minutes say of the minutes that the rates plan: by how much a factor is off, how sure that is, and since when.

What is learned from is the logarithm of actual over estimated minutes of each job. Three steps: jobs before the last change of a factor are left
out; the rest gives a robust mean; all factors together are drawn towards the present rates, the more the fewer jobs they have.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri, stdtr

from services.orders.errors import NothingToLearnFrom

Key = TypeVar("Key", bound=Hashable)
Floats = NDArray[np.float64]

HUBER_K = 1.345
"""Residuals beyond so many standard deviations count no more than those: 95 % as good as the mean for normal ones. P. J. Huber (1964); from memory."""
USUAL_SCATTER = 0.15
"""Standard deviation of the logarithm of the minutes of a job about their mean, before any is known. Common practice."""
SCATTER_JOBS = 10
"""So many jobs the usual scatter counts for beside those seen."""
MOST_SPREAD = 0.7
"""Beyond what rates of a shop are off [log ratio]: half or double."""
SPREADS = 40
CUSUM_K, CUSUM_H, CUSUM_BEGINS = 0.5, 5.0, 5
"""Allowance and limit of the cumulative sum in standard deviations, and the jobs it needs before it judges one."""
CLIPPED = 3.0
"""A single job counts no more than so many standard deviations, so that no single one is taken for a change."""
INTERVAL = 0.8
SURE = 0.99
"""An interval of so much probability must lie on one side of the present rate before a change is proposed."""
LEAST_CHANGE = 0.03
"""A rate that is off by less is left alone."""
FEWEST_JOBS = 5


@dataclass(frozen=True)
class Pooled:
    """What is believed of each group after all were seen: mean, standard deviation, and the mixture it comes from."""

    mean: Floats
    deviation: Floats
    weights: Floats
    means: Floats
    deviations: Floats

    def quantile(self, share: float) -> Floats:
        """The value of each group below which so much of the probability lies, by bisection."""
        low, high = self.mean - 6 * self.deviation, self.mean + 6 * self.deviation
        for _ in range(22):
            middle = (low + high) / 2
            below = ndtr((middle[:, None] - self.means) / self.deviations) @ self.weights < share
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return np.asarray((low + high) / 2)


@dataclass(frozen=True)
class Learned:
    """What jobs say of one factor: actual minutes are `ratio` times those planned, within `low` and `high` by four in five.

    `jobs` are those since the last change of `all_jobs`; `changed` is whether there was one. `is_sure` says that the present rate is
    off. Errors are mean absolute shares of the actual minutes of these jobs, planned as now and with `ratio`.
    """

    jobs: int
    all_jobs: int
    changed: bool
    ratio: float
    low: float
    high: float
    is_sure: bool
    error_before: float
    error_after: float


def learn(histories: Mapping[Key, Sequence[float]]) -> dict[Key, Learned]:
    """What the log ratios of each factor, oldest first, say of its rate; factors without any are left out."""
    seen = {key: [float(one) for one in values] for key, values in histories.items() if values}
    if not seen:
        return {}
    begins = {key: last_change(values) for key, values in seen.items()}
    recent = {key: values[begins[key] :] for key, values in seen.items()}
    means = [mean_log_ratio(values) for values in recent.values()]
    pooled = partial_pooling(
        estimates=[mean for mean, _ in means], standard_errors=[error for _, error in means], centre=0.0, most_spread=MOST_SPREAD
    )
    low, high = pooled.quantile((1 - INTERVAL) / 2), pooled.quantile((1 + INTERVAL) / 2)
    # The outer interval is asked for only where there is a change to be sure of.
    asks = bool(np.any(np.abs(np.expm1(pooled.mean)) >= LEAST_CHANGE))
    least, most = (pooled.quantile((1 - SURE) / 2), pooled.quantile((1 + SURE) / 2)) if asks else (low, high)
    learned = {}
    for place, (key, values) in enumerate(recent.items()):
        ratio = math.exp(pooled.mean[place])
        learned[key] = Learned(
            jobs=len(values),
            all_jobs=len(seen[key]),
            changed=begins[key] > 0,
            ratio=ratio,
            low=math.exp(low[place]),
            high=math.exp(high[place]),
            is_sure=bool(len(values) >= FEWEST_JOBS and abs(ratio - 1) >= LEAST_CHANGE and (least[place] > 0 or most[place] < 0)),
            error_before=mean_error(values, ratio=1.0),
            error_after=mean_error(values, ratio=ratio),
        )
    return learned


def mean_error(log_ratios: Sequence[float], *, ratio: float) -> float:
    """Mean absolute error of minutes planned `ratio` times as long, as a share of the actual ones."""
    return float(np.mean(np.abs(ratio * np.exp(-np.asarray(log_ratios)) - 1)))


def mean_log_ratio(log_ratios: Sequence[float]) -> tuple[float, float]:
    """The logarithm of the ratio of mean actual to planned minutes, and its standard error.

    Notes:
        The scatter s of single jobs is that of the residuals about the median, 1.4826 times their median size, drawn towards the usual
        scatter as a scaled inverse chi-squared prior would. The centre is Huber's M-estimate at that scatter. Minutes are
        taken to be log-normal, so the mean lies s**2 / 2 above the centre of the logarithms.

    Source:
        P. J. Huber, Robust Estimation of a Location Parameter, Annals of Mathematical Statistics 35 (1964) 73; the prior of a variance:
        Gelman et al., Bayesian Data Analysis, 3rd ed. (2013), section 2.6. From memory.
    """
    values = np.asarray(log_ratios, dtype=np.float64)
    size = 1.4826 * float(np.median(np.abs(values - np.median(values))))
    free = len(values) - 1
    scatter = math.sqrt((SCATTER_JOBS * USUAL_SCATTER**2 + free * size**2) / (SCATTER_JOBS + free))
    centre = huber_location(values, scale=scatter)
    return centre + scatter**2 / 2, scatter / math.sqrt(0.95 * len(values))


def huber_location(values: Floats, *, scale: float) -> float:
    """Where values lie: those within `HUBER_K` scales count in full, those beyond no more than one at that distance.

    Source:
        P. J. Huber (1964), as above; solved by reweighting.
    """
    centre = float(np.median(values))
    moved = centre
    for _ in range(20):
        distance = np.maximum(np.abs(values - centre) / scale, 1e-12)
        weights = np.minimum(1.0, HUBER_K / distance)
        moved = float(np.sum(weights * values) / np.sum(weights))
        if abs(moved - centre) < 1e-6:
            break
        centre = moved
    return moved


def partial_pooling(
    *, estimates: Sequence[float], standard_errors: Sequence[float], centre: float | None, most_spread: float
) -> Pooled:
    """What is believed of the means of groups of which estimates are known, each with its standard error.

    Args:
        estimates: y of each group.
        standard_errors: sigma of each.
        centre: mu, about which the groups lie where it is known; None where it is estimated with them.
        most_spread: tau, their standard deviation about it, is anything from 0 to this beforehand.

    Raises:
        NothingToLearnFrom: for no group, or for errors that are not above 0.

    Notes:
        theta_j ~ N(mu, tau), y_j ~ N(theta_j, sigma_j). With s_j = sigma_j**2 + tau**2 and mu_hat = sum(y_j / s_j) / sum(1 / s_j), of variance
        V = 1 / sum(1 / s_j), p(tau | y) goes as V**0.5 prod(s_j**-0.5 exp(-(y_j - mu_hat)**2 / (2 s_j))) under a uniform
        prior; theta_j given tau is w y_j + (1 - w) mu_hat with w = tau**2 / s_j, of variance w sigma_j**2 + (1 - w)**2 V. A
        known centre has V = 0 and no factor V**0.5. The posterior is the mixture over a grid of tau.

    Source:
        A. Gelman, J. Carlin, H. Stern, D. Dunson, A. Vehtari, D. Rubin, Bayesian Data Analysis, 3rd ed. (2013), section 5.4,
        equations 5.17 to 5.21; D. Rubin, Estimation in Parallel Randomized Experiments, J. Educational Statistics 6 (1981) 377. From memory.
    """
    y, sigma2 = np.asarray(estimates, dtype=np.float64)[:, None], np.square(np.asarray(standard_errors, dtype=np.float64))[:, None]
    if not len(y) or not bool(np.all(sigma2 > 0)):
        raise NothingToLearnFrom
    tau2 = np.square((np.arange(SPREADS) + 0.5) * (most_spread / SPREADS))[None, :]
    spread2 = sigma2 + tau2
    precision = np.sum(1 / spread2, axis=0)
    mean = np.sum(y / spread2, axis=0) / precision if centre is None else np.full(SPREADS, centre)
    variance = 1 / precision if centre is None else np.zeros(SPREADS)
    log_p = -0.5 * np.sum(np.log(spread2) + np.square(y - mean) / spread2, axis=0)
    log_p = log_p + (0.5 * np.log(variance) if centre is None else 0.0)
    weights = np.exp(log_p - np.max(log_p))
    weights /= np.sum(weights)
    share = tau2 / spread2
    means = share * y + (1 - share) * mean
    variances = share * sigma2 + np.square(1 - share) * variance
    middle = means @ weights
    whole = (variances + np.square(means - middle[:, None])) @ weights
    return Pooled(middle, np.sqrt(whole), weights, means, np.sqrt(variances))


def last_change(values: Sequence[float]) -> int:
    """The place of the first value after the last change of their mean; 0 where they did not change."""
    begins = 0
    while True:
        change = first_change(values[begins:])
        if change is None:
            return begins
        begins += change


def first_change(values: Sequence[float]) -> int | None:
    """The place from which on the mean of values is another, as a self-starting cumulative sum finds it; None where it does not.

    Notes:
        Each value is compared with those before it: T = (x - mean) / s * sqrt((n - 1) / n) follows Student's t with n - 2 degrees of
        freedom, and is turned into a standard normal U. Two sums, max(0, S + U - k) and max(0, S - U - k), alarm above h; the
        change is where the sum that alarms last left 0. s is no less than half the usual scatter.

    Source:
        D. M. Hawkins, Self-Starting CUSUM Charts for Location and Scale, The Statistician 36 (1987) 299; k = 0.5 and h = 5: D. C. Montgomery,
        Introduction to Statistical Quality Control, section 9.1. From memory.
    """
    up = down = 0.0
    up_from = down_from = 0
    mean = squares = 0.0
    for place, value in enumerate(values):
        if place >= CUSUM_BEGINS:
            deviation = max(math.sqrt(squares / (place - 1)), USUAL_SCATTER / 2)
            student = (value - mean) / deviation * math.sqrt(place / (place + 1))
            normal = min(max(_as_normal(student, place - 1), -CLIPPED), CLIPPED)
            up, up_from = (up + normal - CUSUM_K, up_from if up else place) if up + normal > CUSUM_K else (0.0, place)
            down, down_from = (down - normal - CUSUM_K, down_from if down else place) if down - normal > CUSUM_K else (0.0, place)
            if max(up, down) > CUSUM_H:
                return up_from if up > down else down_from
        step = value - mean
        mean += step / (place + 1)
        squares += step * (value - mean)
    return None


def _as_normal(student: float, freedom: int) -> float:
    """A value of Student's t as the standard normal value of the same probability; from the nearer tail, so that none is infinite."""
    tail: Any = ndtri(max(float(stdtr(freedom, -abs(student))), 1e-300))
    return math.copysign(float(tail), student)
