"""A simulated shop whose true minutes are hidden, and what is learned from its jobs: `python -m tests.laws.simulated_learning [SHOPS]` prints the figures."""

from __future__ import annotations

import math
import sys
from collections import defaultdict
from datetime import date, timedelta

import numpy as np

from services.orders.domain.drift import JOBS_AFTER
from services.orders.domain.learning import JobRatio, Learned, learn

FACTORS = 8
VISITED = 5
SCATTER = 0.15
"""Standard deviation of the logarithm of the minutes of one operation of a job."""
FIRST_DAY = date(2026, 1, 5)
SLOWER = math.log(1.2)
SLOWER_AFTER = 15
"""Jobs within which a machine that became slower has to be found."""
Floats = np.ndarray
History = dict[int, list[JobRatio]]


class Shop:
    """Jobs, each of one class of glass and with so many planned minutes at some of the factors, and the minutes that they really take.

    True factors scatter by `spread` about `off`, and the classes of a factor by `class_spread` about it; `scatter` is that of single jobs.
    """

    def __init__(
        self, seed: int, *, off: float = 0.0, spread: float = 0.0, classes: int = 1, class_spread: float = 0.0, scatter: float = SCATTER,
    ) -> None:  # fmt: skip
        self.draw = np.random.default_rng(seed)
        self.true = off + spread * self.draw.normal(size=(FACTORS, 1)) + class_spread * self.draw.normal(size=(FACTORS, classes))
        self.scatter, self.jobs = scatter, 0
        self.history: History = defaultdict(list)

    def job(self) -> tuple[int, Floats, Floats]:
        """Class, planned and actual minutes of each factor; 0 where the job does not come. The mean of what they scatter by is 1."""
        planned, glass = np.zeros(FACTORS), int(self.draw.integers(self.true.shape[1]))
        planned[self.draw.choice(FACTORS, VISITED, replace=False)] = self.draw.lognormal(math.log(60), 0.6, VISITED)
        off = self.true[:, glass] + self.draw.normal(-(self.scatter**2) / 2, self.scatter, FACTORS)
        return glass, planned, planned * np.exp(off)

    def work(self, jobs: int) -> Shop:
        """The same after so many jobs more, one a day."""
        for _ in range(jobs):
            glass, planned, actual = self.job()
            self.jobs += 1
            day = FIRST_DAY + timedelta(days=self.jobs)
            for factor in np.flatnonzero(planned):
                ratio = math.log(actual[factor] / planned[factor])
                self.history[int(factor)].append(
                    JobRatio(day, f"Q-{self.jobs:05d}", (f"HG{glass + 1}", ""), ratio, float(planned[factor]))
                )
        return self

    def learned(self) -> dict[int, Learned]:
        """What is learned of each factor."""
        return learn(self.history)

    def error(self, learned: dict[int, Learned], *, jobs: int = 200) -> float:
        """Mean absolute error of the minutes of new jobs, as a share of the actual ones."""
        ratios = np.ones(self.true.shape)
        for factor, one in learned.items():
            ratios[factor] = one.ratio
            for each in one.cells:
                ratios[factor, int(each.cell[0][2:]) - 1] = each.ratio
        pairs = [self.job() for _ in range(jobs)]
        return float(np.mean([abs(planned @ ratios[:, glass] - actual.sum()) / actual.sum() for glass, planned, actual in pairs]))

    def held(self, learned: dict[int, Learned]) -> list[bool]:
        """Whether the true value of each class lies within its interval."""
        return [
            each.low <= math.exp(self.true[factor, int(each.cell[0][2:]) - 1]) <= each.high
            for factor, one in learned.items()
            for each in one.cells
        ]


def machine(seed: int, *, before: int, after: int = SLOWER_AFTER, off: float = 0.0) -> list[JobRatio]:
    """The jobs of one machine, one a day, `off` its table and after so many a fifth slower."""
    draw = np.random.default_rng(seed)
    ratios = [*draw.normal(off, SCATTER, before), *draw.normal(off + SLOWER, SCATTER, after)]
    return [JobRatio(FIRST_DAY + timedelta(days=day), f"Q-{day:05d}", ("", ""), ratio) for day, ratio in enumerate(ratios)]


def is_found(jobs: list[JobRatio], *, before: int) -> bool:
    """Whether it is said after the last job that the machine changed, no more than ten jobs before or after it did."""
    one = learn({"machine": jobs})["machine"]
    return one.changed is not None and abs((one.changed.since - jobs[before].day).days) <= 10


def is_found_by(jobs: list[JobRatio], *, before: int) -> bool:
    """Whether it is said after any of the jobs since it did."""
    return any(is_found(jobs[:seen], before=before) for seen in range(before + JOBS_AFTER, len(jobs) + 1))


def share_held(shops: int, *, jobs: int, seed: int = 0, **shop: float) -> tuple[float, float]:
    """The share of true values within their interval, and its standard error over shops."""
    of_shops = []
    for number in range(shops):
        one = Shop(seed + number, **shop).work(jobs)  # type: ignore[arg-type]
        of_shops.append(float(np.mean(one.held(one.learned()))))
    return float(np.mean(of_shops)), float(np.std(of_shops) / math.sqrt(shops))


def share_proposed(shops: int, *, jobs: int, seed: int = 0) -> float:
    """The share of shops with true tables of which a row is said to be off."""
    return float(
        np.mean([any(one.is_sure for one in Shop(seed + number).work(jobs).learned().values()) for number in range(shops)])
    )


def share_found(machines: int, *, before: int, seed: int = 0, off: float = 0.0) -> tuple[float, float]:
    """The share of machines that became a fifth slower of which it is said after one of the next jobs, and after the last of them."""
    made = [machine(seed + number, before=before, off=off) for number in range(machines)]
    by_any = [is_found_by(jobs, before=before) for jobs in made]
    return float(np.mean(by_any)), float(np.mean([is_found(jobs, before=before) for jobs in made]))


def share_changed(shops: int, *, jobs: int, seed: int = 0, spread: float = 0.0) -> float:
    """The share of steady factors that are said to have changed."""
    learned = [Shop(seed + number, spread=spread).work(jobs).learned() for number in range(shops)]
    return float(np.mean([one.changed is not None for of_shop in learned for one in of_shop.values()]))


def errors(shops: int, *, jobs: tuple[int, ...], seed: int = 0) -> list[float]:
    """Mean absolute error of job hours at tables that are a third off, and after so many jobs, as shares."""
    found: list[list[float]] = []
    for number in range(shops):
        shop = Shop(seed + number, off=0.35, spread=0.2)
        of_shop = [shop.error({})]
        for more in np.diff([0, *jobs]):
            of_shop.append(shop.work(int(more)).error(shop.learned()))
        found.append(of_shop)
    return [float(mean) for mean in np.mean(found, axis=0)]


def say(line: str) -> None:
    """One line of the figures, at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def main(shops: int) -> None:
    """Print the figures."""
    before, after_50, after_200 = errors(min(shops, 100), jobs=(50, 200))
    say(f"error of job hours: {before:.1%} before, {after_50:.1%} after 50 jobs, {after_200:.1%} after 200")
    for what, shop in (
        ("one class", {"spread": 0.2}),
        ("tables nearly true", {"spread": 0.03}),
        ("scatter 0.30", {"spread": 0.2, "scatter": 0.3}),
        ("scatter 0.08", {"spread": 0.2, "scatter": 0.08}),
        ("three classes", {"spread": 0.2, "classes": 3, "class_spread": 0.08}),
    ):
        for jobs in (25, 50, 200):
            held, error = share_held(shops, jobs=jobs, **shop)  # type: ignore[arg-type]
            say(f"true value within the 80 % interval, {what}, {jobs} jobs: {held:.1%} (standard error {error:.1%})")
    for jobs in (15, 50, 200):
        say(f"true tables, {jobs} jobs: no proposal in {1 - share_proposed(200, jobs=jobs):.1%} of 200 shops")
    for jobs_before in (20, 40, 100):
        for off in (0.0, 0.3):
            found, still = share_found(200, before=jobs_before, off=off)
            say(
                f"a fifth slower after {jobs_before} jobs, its table {off:.0%} off: found within {SLOWER_AFTER} jobs in {found:.1%} of 200, said after "
                f"the last of these in {still:.1%}"
            )
    for jobs in (50, 200):
        say(f"steady machines, {jobs} jobs of the shop: {share_changed(200, jobs=jobs, spread=0.2):.1%} taken for changed")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 300)
