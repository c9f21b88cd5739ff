"""Since when a machine is another: whether, and after which job, the mean of its jobs changed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri, stdtr

from services.orders.domain.robust import Floats, Ints

PRIOR_ODDS = 1.0
"""The odds that a machine changed at all, before any job is seen: as likely as not, and after any job as likely as after another."""
SHIFT = 0.2
"""Standard deviation of the logarithm of what a change makes of the minutes: a fifth. Common practice."""
JOBS_BEFORE, JOBS_AFTER = 8, 4
"""So few jobs there must be on each side of a change."""
CLIPPED = 1.75
"""A single job counts no more than so many standard deviations, so that one that went wrong makes no change likelier (simulated)."""
FOUND = 0.5
"""A change that is likelier than not is taken for one, and the chance that there was none is kept; one less likely than that is forgotten."""
MEDIAN_TO_DEVIATION = 1.4826


@dataclass(frozen=True)
class Change:
    """The place of the first job after a likely change, and the chance that there was one."""

    begins: int
    chance: float


def begins_of(values: Floats, days: Ints, *, usual_scatter: float, usual_freedom: float) -> list[tuple[int, float]]:
    """From which job on the mean may be what it is now, each with its chance; the chances add up to 1.

    Args:
        values: log ratios, oldest first.
        days: the day of each; jobs of one day have no order, so nothing changes among them.
        usual_scatter: scatter of single jobs, as if it had been seen with so much `usual_freedom`.
    """
    begins, left = 0, 1.0
    found: list[tuple[int, float]] = []
    while True:
        change = likely_change(values[begins:], days[begins:], usual_scatter=usual_scatter, usual_freedom=usual_freedom)
        if change is None or change.chance < FOUND:
            return [*found, (begins, left)]
        found.append((begins, left * (1 - change.chance)))
        begins, left = begins + change.begins, left * change.chance


def likely_change(values: Floats, days: Ints, *, usual_scatter: float, usual_freedom: float) -> Change | None:
    """The likeliest place of a change of the mean and the chance that there was any; `None` for too few jobs.

    Notes:
        For a change after s of n jobs, z is the difference of the means before and after in its standard errors, the scatter that
        of both sides, drawn towards what is usual. With v = 1/s + 1/(n - s) and g = (SHIFT / scatter)**2 a change there is
        (v / (v + g))**0.5 exp(z**2 g / (2 (v + g))) times as likely as none. The odds of any change are PRIOR_ODDS times the mean of that
        over the places where there may be one.
        Student's t is turned into z by its probability.

    Source:
        A. F. M. Smith, A Bayesian Approach to Inference about a Change-Point in a Sequence of Random Variables, Biometrika 62 (1975) 407; the
        largest z over s: K. J. Worsley, J. American Statistical Association 74 (1979) 365, and D. M. Hawkins, P. Qiu, C. W. Kang, The Changepoint
        Model for Statistical Process Control, J. Quality Technology 35 (2003) 355. From memory.
    """
    splits = np.arange(JOBS_BEFORE, len(values) - JOBS_AFTER + 1)
    splits = splits[days[splits] != days[splits - 1]] if len(splits) else splits
    if not len(splits):
        return None
    held = clipped(values, usual_scatter)
    student, scatter = differences(held, splits, usual_scatter=usual_scatter, usual_freedom=usual_freedom)
    z = as_normal(student, usual_freedom + len(values) - 2)
    v = 1 / splits + 1 / (len(values) - splits)
    g = (SHIFT / scatter) ** 2
    logs = 0.5 * (np.log(v / (v + g)) + z**2 * g / (v + g))
    odds = PRIOR_ODDS * float(np.mean(np.exp(np.minimum(logs, 500.0))))
    return Change(int(splits[int(np.argmax(logs))]), odds / (1 + odds))


def clipped(values: Floats, usual_scatter: float) -> Floats:
    """Values, none further from the middle one than `CLIPPED` standard deviations, of which the median distance says how large they are."""
    middle = np.median(values)
    deviation = max(MEDIAN_TO_DEVIATION * float(np.median(np.abs(values - middle))), usual_scatter)
    return np.clip(values, middle - CLIPPED * deviation, middle + CLIPPED * deviation)


def differences(values: Floats, splits: Ints, *, usual_scatter: float, usual_freedom: float) -> tuple[Floats, Floats]:
    """For a change after each number of values Student's t of the difference of the means, and the scatter that it is measured by."""
    n, sums = len(values), np.cumsum(values)
    before, after = sums[splits - 1] / splits, (sums[-1] - sums[splits - 1]) / (n - splits)
    squares = float(np.sum((values - np.mean(values)) ** 2))
    within = np.maximum(squares - splits * (n - splits) / n * (before - after) ** 2, 0.0)
    scatter = np.sqrt((usual_freedom * usual_scatter**2 + within) / (usual_freedom + n - 2))
    return (after - before) / (scatter * np.sqrt(1 / splits + 1 / (n - splits))), scatter


def as_normal(student: Floats, freedom: float) -> Floats:
    """Values of Student's t as standard normal ones of the same probability; from the nearer tail, so that none is infinite."""
    tails = np.maximum(stdtr(freedom, -np.abs(student)), 1e-300)
    return np.asarray(np.copysign(ndtri(tails), student))
