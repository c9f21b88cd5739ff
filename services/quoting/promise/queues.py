"""How long a job waits before a work centre, and how many wait there."""

from __future__ import annotations

import math


def kingman_wait_h(*, utilisation: float, squared_variation: float, mean_job_h: float, stations: int = 1) -> float:
    """Mean time a job waits before a work centre [h].

    Args:
        utilisation: share of the hours of all its stations already taken, 0 to below 1.
        squared_variation: (c_a^2 + c_s^2) / 2, the mean of the squared coefficients of variation of arrivals and work.
        mean_job_h: mean work of a job there [h].
        stations: machines or benches that take from one queue.

    Notes:
        W = V t rho^(sqrt(2 (m + 1)) - 1) / (m (1 - rho)); with one station it is V t rho / (1 - rho).

    Source: J. F. C. Kingman (1961) for one station, H. Sakasegawa (1977) for several; both from memory.
    """
    crowd = math.pow(utilisation, math.sqrt(2 * (stations + 1)) - 1) / (stations * (1 - utilisation))
    return crowd * squared_variation * mean_job_h


def jobs_waiting(*, wait_h: float, jobs_per_h: float) -> float:
    """Mean number of jobs that wait: L = lambda W.

    Source: J. D. C. Little (1961), from memory.
    """
    return jobs_per_h * wait_h
