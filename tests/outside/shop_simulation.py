"""A shop simulated event by event, to hold quoted dates against: it knows rates, a job and a book, and nothing of how dates are quoted.

Rules of this world:

- Time is shop time: the hours of the calendar, one after the other. A work centre of two shifts does two hours of work in one of them.
- A work centre has one queue, first come first served, for all its stations. Jobs of others arrive as a Poisson process from
  long before the order until it is done; the same queue serves the parts of the order.
- A part begins when its glass, tools and consumed parts are there. Each operation is set up once and takes batch after batch on
  one station; the next queues up when the pieces of its first batch are there. A station takes other work while it has to wait for a batch.
- Runs of one name are shared by parts that wait for them at the same time, as far as there is room.
- Pieces and batches are lost at each operation. What is missing behind the last is made again from the first, as a small
  lot, and what waits for it waits. Sets that are lost are made again of spare parts, and those, where there are none, too.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Generator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from heapq import heapify, heapreplace
from typing import Any
from zlib import crc32

import numpy as np
import simpy

from shared_schemas.load import MOST_WEEKS, LoadSnapshot
from shared_schemas.rates import CalendarRow, Rates, ShopLoadRow, WorkCentreRow

ONE_DAY, ONE_WEEK = timedelta(days=1), timedelta(weeks=1)
WEEKS_KNOWN = 13
"""The book is full of the usual work this week, knows nothing of that of so many weeks ahead, and falls evenly between."""
RELAXATIONS = 6
"""The queues are filled for so many times as long as they remember."""
JOBS_AT_ONCE = 256

Numbers = np.ndarray[Any, np.dtype[Any]]
Process = Generator[simpy.Event, Any, None]


@dataclass(frozen=True)
class Line:
    """An operation as it is done: batches of `batch_h` and `piece_h` for each piece, and what becomes of pieces [h]."""

    work_centre: str
    setup_h: float
    batch_size: int
    batch_h: float
    piece_h: float = 0.0
    yield_share: float = 1.0
    batch_loss: float = 0.0
    rework_share: float = 0.0
    rework_yield: float = 0.0
    rework_h: float = 0.0
    shared_run: str | None = None

    @property
    def kept_share(self) -> float:
        """Share of the pieces that are good in the end, in the mean."""
        saved = self.rework_share * self.rework_yield
        return (self.yield_share + (1 - self.yield_share) * saved) * (1 - self.batch_loss * (1 - saved))


@dataclass(frozen=True)
class Part:
    """A part of the order: how many are started first, what goes into one, and the calendar days until glass, tools and bought parts are there."""

    name: str
    lines: tuple[Line, ...]
    started: int
    consumes: tuple[tuple[str, int], ...] = ()
    lead_days: float = 0.0

    @property
    def kept_share(self) -> float:
        """Share of the started pieces that are good in the end, in the mean."""
        return math.prod(line.kept_share for line in self.lines)


@dataclass(frozen=True)
class ShopJob:
    """What is ordered: parts, each after what it consumes, the last of them so many times."""

    parts: tuple[Part, ...]
    quantity: int


class ShopTime:
    """Hours of the calendar, counted from the start of the day of the order on [h]; below 0 in its week before it."""

    def __init__(self, rows: Sequence[CalendarRow], begin: date, *, weeks: int = 260) -> None:
        hours = {row.weekday: row.hours for row in rows if row.weekday is not None}
        closed = [(row.holiday, row.until or row.holiday) for row in rows if row.holiday is not None]
        self.longest_day_h = max(hours.values())
        self.begin, self.first_day = begin, begin - timedelta(days=begin.weekday())
        days = [self.first_day + timedelta(days=day) for day in range(7 * weeks)]
        shut = {day for first, last in closed for day in days if first <= day <= last}
        each = np.array([0.0 if day in shut else hours.get(day.weekday(), 0.0) for day in days])
        before = np.concatenate(([0.0], np.cumsum(each)))
        self.begins = before - before[begin.weekday()]

    def at(self, day: date) -> float:
        """Hours from the order until the start of a day [h]."""
        return float(self.begins[(day - self.first_day).days])

    def day_of(self, hours: float) -> date:
        """The day on which so many hours are over."""
        return max(self.begin, self.first_day + timedelta(days=bisect_left(self.begins, hours - 1e-9) - 1))

    def weeks(self) -> Numbers:
        """Hours until the start of every week, from that of the first day on [h]."""
        return self.begins[::7]


@dataclass(frozen=True)
class Others:
    """The work of others at one centre: usual jobs an hour before the week of the order, their share that is left in each week
    from there on, and the jobs of the book as times and work [h]."""

    load: ShopLoadRow | None
    weeks: Numbers
    left: Numbers
    booked: Numbers


class Centre:
    """The queue of one work centre: when each of its stations is free, and the jobs of others until the last time it was asked."""

    def __init__(self, row: WorkCentreRow, others: Others, rng: np.random.Generator, *, longest_day_h: float = 8.0) -> None:
        self.row = row
        self.speed = min(float(row.shifts), 24 / longest_day_h)
        self._others, self._rng = others, rng
        self._next = 0
        self._times: list[float] = []
        self._work: list[float] = []
        self._until = self._before_the_order()
        self.free = [self._until] * row.stations
        heapify(self.free)

    def enter(self, time: float, work_h: float) -> float:
        """A job comes to the queue; when it begins [h]. Times never fall from one job to the next."""
        self.advance(time)
        start = max(time, self.free[0])
        heapreplace(self.free, start + work_h / self.speed)
        return start

    def advance(self, time: float) -> None:
        """Take all jobs of others until then into the queue."""
        free = self.free
        while True:
            times, place = self._times, self._next
            end = bisect_left(times, time, place)
            for came, hours in zip(times[place:end], self._work[place:end], strict=True):
                earliest = free[0]
                heapreplace(free, (came if came > earliest else earliest) + hours)
            self._next = end
            if end < len(times) or self._until > time:
                return
            self._draw_more()

    def _before_the_order(self) -> float:
        """When the filling of the queue starts [h]: several times the relaxation time of M/M/m before the week of the order."""
        load = self._others.load
        first = float(self._others.weeks[0])
        if load is None or not load.utilisation:
            return first
        memory = 1 / (self.row.stations * (1 - math.sqrt(load.utilisation)) ** 2) + 1
        return first - RELAXATIONS * memory * load.mean_job_h / self.speed

    def _draw_more(self) -> None:
        load, since = self._others.load, self._until
        if load is None or not load.utilisation:
            times, work, self._until = np.empty(0), np.empty(0), math.inf
        else:
            job_h = load.mean_job_h / self.speed
            gaps = self._rng.exponential(job_h / (load.utilisation * self.row.stations), JOBS_AT_ONCE)
            times = since + np.cumsum(gaps)
            self._until = float(times[-1])
            work = job_h * spread_work(load.squared_variation, JOBS_AT_ONCE, self._rng)
            week = np.searchsorted(self._others.weeks, times, side="right") - 1
            stays = np.where(week < 0, 1.0, self._others.left[np.clip(week, 0, len(self._others.left) - 1)])
            kept = self._rng.random(JOBS_AT_ONCE) < stays
            times, work = times[kept], work[kept]
        booked = self._others.booked
        if booked.size:
            due = (booked[0] > since) & (booked[0] <= self._until)
            times, work = np.concatenate((times, booked[0, due])), np.concatenate((work, booked[1, due] / self.speed))
            order = np.argsort(times, kind="stable")
            times, work = times[order], work[order]
        self._times, self._work, self._next = times.tolist(), work.tolist(), 0


def spread_work(squared_variation: float, jobs: int, rng: np.random.Generator) -> Numbers:
    """Work of jobs with the mean 1: gamma, so that the mean of its squared variation and that of Poisson arrivals is the one given."""
    of_work = 2 * squared_variation - 1
    if of_work < 0 or of_work == 1:
        return rng.exponential(1.0, jobs)
    return rng.gamma(1 / of_work, of_work, jobs) if of_work else np.ones(jobs)


def share_known(week: int) -> float:
    """How much of the work of a week is in the book before it."""
    return max(0.0, 1 - week / WEEKS_KNOWN)


def others_at(centre: WorkCentreRow, rates: Rates, time: ShopTime, book: LoadSnapshot | None, rng: np.random.Generator) -> Others:
    """The work of others at a centre: the usual, or the orders of the book and what is not in it."""
    load = next((row for row in rates.shop_load if row.name == centre.name), None)
    weeks = time.weeks()
    if book is None:
        return Others(load, weeks, np.ones(1), np.empty((2, 0)))
    share = load.booked_share if load else 0.0
    left = np.array([1 - share * share_known(week) for week in range(len(weeks))])
    return Others(load, weeks, left, _jobs_of(hours_in_book(book, time).get(centre.name, np.empty((3, 0))), load, rng))


def hours_in_book(book: LoadSnapshot, time: ShopTime) -> dict[str, Numbers]:
    """What each order takes of each centre in each week, none before that of the first day: begin and end of the week, and hours [h]."""
    key = (id(book), time)
    if key not in _BOOKS:
        rows: dict[str, list[tuple[float, float, float]]] = {}
        weeks = [book.first_week + week * ONE_WEEK for week in range(MOST_WEEKS)]
        for order in book.orders:
            for taken in order.work_centres:
                for week, hours in zip(weeks, taken.booked_h, strict=False):
                    if hours > 0 and week >= time.first_day:
                        rows.setdefault(taken.work_centre, []).append((time.at(week), time.at(week + ONE_WEEK), hours))
        _BOOKS[key] = (book, {name: np.array(each).T for name, each in rows.items()})
    return _BOOKS[key][1]


_BOOKS: dict[tuple[int, ShopTime], tuple[LoadSnapshot, dict[str, Numbers]]] = {}
"""Books are read once; each is kept beside what was read, so that its name stays its own."""


def _jobs_of(taken: Numbers, load: ShopLoadRow | None, rng: np.random.Generator) -> Numbers:
    """The hours of each order in each week as jobs, of about the usual size, at random times of the week: times and work [h]."""
    begins, ends, hours = taken
    jobs = np.maximum(np.rint(hours / load.mean_job_h), 1).astype(int) if load else np.ones(len(hours), dtype=int)
    work = spread_work(load.squared_variation if load else 1.0, int(jobs.sum()), rng)
    of_week = np.repeat(np.arange(len(hours)), jobs)
    scale = hours / np.bincount(of_week, weights=work, minlength=len(hours))
    return np.array([rng.uniform(begins[of_week], ends[of_week]), work * scale[of_week]])


class Order:
    """One order on its way through the shop."""

    def __init__(
        self, job: ShopJob, centres: Mapping[str, Centre], factors: Mapping[str, float], released: Mapping[str, float], seed: int
    ) -> None:
        self.env = simpy.Environment()
        self.job, self.centres, self.factors, self.released = job, centres, factors, released
        self.rng = np.random.default_rng([seed, 1])
        self.parts = {part.name: part for part in job.parts}
        self.stock = dict.fromkeys(self.parts, 0)
        self.made_again: list[tuple[str, int]] = []
        self._runs: dict[str, tuple[float, float, float]] = {}
        self._first_lot = {name: self.env.process(self._first(part)) for name, part in self.parts.items()}

    def done_h(self) -> float:
        """When the last piece is packed [h]."""
        self.env.run(self.env.process(self._have(self.job.parts[-1].name, self.job.quantity)))
        return float(self.env.now)

    def _first(self, part: Part) -> Process:
        consumed = [self.env.process(self._have(name, count * part.started)) for name, count in part.consumes]
        yield self.env.all_of([self.env.timeout(self.released[part.name]), *consumed])
        yield from self._make(part, part.started)

    def _have(self, name: str, number: int) -> Process:
        """Wait until so many of a part are there, made again where they have to be, and take them."""
        part = self.parts[name]
        yield self._first_lot[name]
        missing = number - self._take(name, number)
        while missing:
            lot = self.small_lot(part, missing)
            self.made_again.append((name, lot))
            if part.consumes:
                yield self.env.all_of([self.env.process(self._have(one, count * lot)) for one, count in part.consumes])
            yield from self._make(part, lot)
            missing -= self._take(name, missing)

    def _take(self, name: str, number: int) -> int:
        taken = min(number, self.stock[name])
        self.stock[name] -= taken
        return taken

    def small_lot(self, part: Part, missing: int) -> int:
        """Pieces that are started again: of sets those missing, of elements as many as leave those in the mean."""
        return missing if part.consumes else math.ceil(missing / part.kept_share - 1e-9)

    def _make(self, part: Part, pieces: int) -> Process:
        """One lot through all operations of its route, into the stock."""
        there, good = np.array([self.env.now]), np.array([pieces])
        for line in part.lines:
            pieces = int(good.sum())
            if not pieces:
                break
            need = np.minimum(np.arange(1, math.ceil(pieces / line.batch_size) + 1) * line.batch_size, pieces)
            sizes = need.copy()
            sizes[1:] -= need[:-1]
            there = there[good.cumsum().searchsorted(need)]
            if there[0] > self.env.now:
                yield self.env.timeout(there[0] - self.env.now)
            there, good = self._operation(line, there, sizes)
        if there[-1] > self.env.now:
            yield self.env.timeout(there[-1] - self.env.now)
        self.stock[part.name] += int(good.sum())

    def _operation(self, line: Line, there: Numbers, sizes: Numbers) -> tuple[Numbers, Numbers]:
        """Batches come to an operation; when each is done [h], and how many of it are good then."""
        good, reworked = self._left_of(line, sizes)
        factor = self.factors[line.work_centre]
        centre = self.centres[line.work_centre]
        works = factor * (line.batch_h + line.piece_h * sizes + line.rework_h * reworked)
        setup = factor * line.setup_h
        own_run = line.shared_run if len(sizes) == 1 else None
        room = float(sizes[0]) / line.batch_size
        if own_run is not None:
            begins, ends, taken = self._runs.get(own_run, (-math.inf, 0.0, 0.0))
            if begins > self.env.now and taken + room <= 1:
                self._runs[own_run] = (begins, ends, taken + room)
                return np.array([ends]), good
        start = centre.enter(self.env.now, setup + float(works.sum()))
        over = works.cumsum() / centre.speed
        earliest = there.copy()
        earliest[0] = max(there[0], start + setup / centre.speed)
        done = over + np.maximum.accumulate(earliest - over + works / centre.speed)
        if own_run is not None:
            self._runs[own_run] = (start, float(done[0]), room)
        return done, good

    def _left_of(self, line: Line, sizes: Numbers) -> tuple[Numbers, Numbers]:
        """Of the pieces of each batch, those that are good in the end, and those that are reworked."""
        if line.yield_share == 1 and not line.batch_loss:
            return sizes, np.zeros(len(sizes))
        rng = self.rng
        good = rng.binomial(sizes, line.yield_share)
        reworked = np.zeros(len(sizes), dtype=int)
        if line.rework_share:
            reworked = rng.binomial(sizes - good, line.rework_share)
            good = good + rng.binomial(reworked, line.rework_yield)
        for batch in np.flatnonzero(rng.random(len(sizes)) < line.batch_loss) if line.batch_loss else ():
            again = rng.random() < line.rework_share
            reworked[batch] = sizes[batch] if again else 0
            good[batch] = sizes[batch] if again and rng.random() < line.rework_yield else 0
        return good, reworked


def order_in_shop(
    job: ShopJob, rates: Rates, *, book: LoadSnapshot | None = None, begin: date, seed: int
) -> tuple[Order, ShopTime]:
    """An order about to begin, in a shop with its queues as they happen to be."""
    time = _time_of(rates, begin)
    visited = {line.work_centre for part in job.parts for line in part.lines}
    centres, factors = {}, {}
    for row in rates.work_centres:
        if row.name not in visited:
            continue
        rng = np.random.default_rng([seed, 0, crc32(row.name.encode())])
        factors[row.name] = one_log_normal(row.minutes_variation, rng)
        centres[row.name] = Centre(row, others_at(row, rates, time, book, rng), rng, longest_day_h=time.longest_day_h)
    released = {part.name: time.at(begin + timedelta(days=math.ceil(part.lead_days))) for part in job.parts}
    return Order(job, centres, factors, released, seed), time


def one_log_normal(variation: float, rng: np.random.Generator) -> float:
    """A factor of mean 1 and that coefficient of variation."""
    spread = math.sqrt(math.log1p(variation**2))
    return math.exp(spread * float(rng.standard_normal()) - spread**2 / 2)


_TIMES: dict[tuple[tuple[CalendarRow, ...], date], ShopTime] = {}


def _time_of(rates: Rates, begin: date) -> ShopTime:
    key = (tuple(rates.calendar), begin)
    if key not in _TIMES:
        _TIMES[key] = ShopTime(rates.calendar, begin)
    return _TIMES[key]


def simulate(job: ShopJob, rates: Rates, *, book: LoadSnapshot | None = None, begin: date, seed: int, runs: int = 1) -> list[date]:
    """The days on which an order is done that begins on one day in so many shops, alike but for chance."""
    done = []
    for run in range(runs):
        order, time = order_in_shop(job, rates, book=book, begin=begin, seed=seed + run)
        done.append(time.day_of(order.done_h()))
    return done
