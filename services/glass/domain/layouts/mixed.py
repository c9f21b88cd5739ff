"""Discs of several diameters in one plate: the larger first and close to one end, the smaller in their gaps and in what is left.

Two discs keep the larger of their gaps. Every layout is of the kind `layout.py` describes.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from services.glass.domain.layouts.equal import Disc, Layout, best_layout
from services.glass.errors import SizeImpossible
from services.shop.layout.rows import HAIR_MM, PATTERNS, disc_centres

Place = tuple[float, float]

MANY = 200
"""Discs of the largest kind from which on only the best layout is a start: what an end leaves then matters little."""


@dataclass(frozen=True)
class Plate:
    """A plate to be cored."""

    length_mm: float
    width_mm: float
    edge_margin_mm: float = 0.0


@dataclass(frozen=True)
class Wanted:
    """Discs of one element that are still to be cut: diameter, gap to any neighbour, and how many."""

    owner: str
    diameter_mm: float
    gap_mm: float
    count: int


def mixed_layout(*, plate: Plate, wanted: Sequence[Wanted]) -> Layout:
    """One plate with as many of the wanted discs as are found to fit, the larger before the smaller.

    Raises `SizeImpossible` for a disc of zero or less, or a negative gap or margin.
    Notes: deterministic; remembered. One kind alone is laid by `best_layout` when a whole plate of it is wanted.
    """
    return _mixed(plate, tuple(sorted(wanted, key=lambda want: (-want.diameter_mm, want.owner))))


def mixed_plates(*, plate: Plate, wanted: Sequence[Wanted], most: int = 10_000) -> tuple[Layout, ...]:
    """Plates one after the other until every disc that fits a plate is cut, or `most` plates are full."""
    left = {want.owner: want.count for want in wanted}
    plates: list[Layout] = []
    while len(plates) < most and any(left.values()):
        layout = mixed_layout(
            plate=plate, wanted=[Wanted(want.owner, want.diameter_mm, want.gap_mm, left[want.owner]) for want in wanted]
        )
        if not layout.discs:
            break
        plates.append(layout)
        for disc in layout.discs:
            left[disc.owner] -= 1
    return tuple(plates)


@lru_cache(maxsize=1024)
def _mixed(plate: Plate, wanted: tuple[Wanted, ...]) -> Layout:
    _refuse_impossible(plate, wanted)
    wanted = tuple(want for want in wanted if want.count > 0)
    tried = [_filled(plate, wanted, start) for start in _starts(plate, wanted)] if wanted else [()]
    discs = max(tried, key=lambda discs: (math.fsum(disc.diameter_mm**2 for disc in discs), len(discs)))
    return Layout(plate.length_mm, plate.width_mm, plate.edge_margin_mm, "mixed", discs)


def _starts(plate: Plate, wanted: tuple[Wanted, ...]) -> Iterator[tuple[Disc, ...]]:
    """Ways to lay the largest kind: the best layout and every plain pattern, as many as wanted, from the left and from below."""
    largest = wanted[0]
    ways = [best_layout(
        length_mm=plate.length_mm, width_mm=plate.width_mm, diameter_mm=largest.diameter_mm, gap_mm=largest.gap_mm,
        edge_margin_mm=plate.edge_margin_mm, owner=largest.owner,
    ).discs]  # fmt: skip
    off = plate.edge_margin_mm
    for pattern in PATTERNS if largest.count < min(len(ways[0]), MANY) else ():
        centres = disc_centres(
            pattern=pattern, length_mm=plate.length_mm - 2 * off, width_mm=plate.width_mm - 2 * off,
            diameter_mm=largest.diameter_mm, gap_mm=largest.gap_mm,
        )  # fmt: skip
        ways.append(tuple(Disc(off + c.x_mm, off + c.y_mm, largest.diameter_mm, largest.gap_mm, largest.owner) for c in centres))
    if largest.count >= len(ways[0]):
        yield ways[0]
        return
    seen = set()
    for discs in ways:
        for start in (sorted(discs, key=lambda d: (d.x_mm, d.y_mm)), sorted(discs, key=lambda d: (d.y_mm, d.x_mm))):
            kept = tuple(start[: largest.count])
            if len(kept) == largest.count and kept not in seen:
                seen.add(kept)
                yield kept
    yield ()


def _filled(plate: Plate, wanted: tuple[Wanted, ...], start: tuple[Disc, ...]) -> tuple[Disc, ...]:
    """The start, then every kind in turn at places where it touches what lies there already."""
    table = _Table(plate, max(want.diameter_mm + want.gap_mm for want in wanted))
    for disc in start:
        table.lay(disc)
    laid = len(start)
    for number, want in enumerate(wanted):
        room = want.count - (laid if number == 0 else 0)
        best = _lattice_in_the_rest(plate, want, table, room)
        touching = _touching(want, table, room)
        for disc in max((touching, best), key=len):
            table.lay(disc)
    return tuple(table.discs)


def _lattice_in_the_rest(plate: Plate, want: Wanted, table: _Table, room: int) -> list[Disc]:
    """The best layout of the strip right of all discs, or of that above them, whichever holds more; no more than wanted."""
    margin = plate.edge_margin_mm
    right = max((d.x_mm + d.diameter_mm / 2 + max(d.gap_mm, want.gap_mm) for d in table.discs), default=margin) - margin
    above = max((d.y_mm + d.diameter_mm / 2 + max(d.gap_mm, want.gap_mm) for d in table.discs), default=margin) - margin
    most: list[Disc] = []
    for across, up in ((right, 0.0), (0.0, above)):
        strip = best_layout(
            length_mm=max(0.0, plate.length_mm - across), width_mm=max(0.0, plate.width_mm - up), diameter_mm=want.diameter_mm,
            gap_mm=want.gap_mm, edge_margin_mm=margin, owner=want.owner, search=not table.discs,
        )  # fmt: skip
        moved = [Disc(d.x_mm + across, d.y_mm + up, d.diameter_mm, d.gap_mm, d.owner) for d in strip.discs]
        most = max((most, sorted(moved, key=lambda d: (d.x_mm, d.y_mm))[:room]), key=len)
    return most


def _touching(want: Wanted, table: _Table, room: int) -> list[Disc]:
    """Places from the left, each touching two neighbours or the edge; a disc laid makes new places beside it."""
    trial = table.copy()
    queue = list(trial.corners(want))
    for disc in trial.discs:
        queue.extend(trial.beside(disc, want))
    heapq.heapify(queue)
    laid: list[Disc] = []
    while queue and len(laid) < room:
        x, y = heapq.heappop(queue)
        disc = Disc(x, y, want.diameter_mm, want.gap_mm, want.owner)
        if not trial.free(disc):
            continue
        trial.lay(disc)
        laid.append(disc)
        for place in trial.beside(disc, want):
            heapq.heappush(queue, place)
    return laid


@dataclass
class _Table:
    """Discs laid in a plate, found again by the square they lie in."""

    plate: Plate
    cell_mm: float
    discs: list[Disc] = field(default_factory=list)
    cells: dict[tuple[int, int], list[Disc]] = field(default_factory=dict)

    def copy(self) -> _Table:
        return _Table(self.plate, self.cell_mm, list(self.discs), {cell: list(discs) for cell, discs in self.cells.items()})

    def lay(self, disc: Disc) -> None:
        self.discs.append(disc)
        self.cells.setdefault((int(disc.x_mm // self.cell_mm), int(disc.y_mm // self.cell_mm)), []).append(disc)

    def near(self, x: float, y: float, cells: int) -> Iterator[Disc]:
        """Discs in the squares around a place."""
        column, row = int(x // self.cell_mm), int(y // self.cell_mm)
        for i in range(column - cells, column + cells + 1):
            for j in range(row - cells, row + cells + 1):
                yield from self.cells.get((i, j), ())

    def free(self, disc: Disc) -> bool:
        """Whether a disc lies within the margin and clear of all others."""
        low = self.plate.edge_margin_mm + disc.diameter_mm / 2 - HAIR_MM
        inside = low <= disc.x_mm <= self.plate.length_mm - low and low <= disc.y_mm <= self.plate.width_mm - low
        return inside and all(
            (disc.x_mm - other.x_mm) ** 2 + (disc.y_mm - other.y_mm) ** 2 >= (apart_mm(disc, other) - HAIR_MM) ** 2
            for other in self.near(disc.x_mm, disc.y_mm, 1)
        )

    def corners(self, want: Wanted) -> Iterator[Place]:
        low = self.plate.edge_margin_mm + want.diameter_mm / 2
        for x in (low, self.plate.length_mm - low):
            for y in (low, self.plate.width_mm - low):
                yield x, y

    def beside(self, disc: Disc, want: Wanted) -> Iterator[Place]:
        """Places of a wanted disc that touch this one, and the edge or another."""
        reach = (disc.diameter_mm + want.diameter_mm) / 2 + max(disc.gap_mm, want.gap_mm)
        low = self.plate.edge_margin_mm + want.diameter_mm / 2
        for edge in (low, self.plate.length_mm - low):
            for away in _legs(reach, edge - disc.x_mm):
                yield edge, disc.y_mm + away
        for edge in (low, self.plate.width_mm - low):
            for away in _legs(reach, edge - disc.y_mm):
                yield disc.x_mm + away, edge
        for other in self.near(disc.x_mm, disc.y_mm, 2):
            if other is not disc:
                reach_other = (other.diameter_mm + want.diameter_mm) / 2 + max(other.gap_mm, want.gap_mm)
                yield from _meeting((disc.x_mm, disc.y_mm), reach, (other.x_mm, other.y_mm), reach_other)


def apart_mm(one: Disc, other: Disc) -> float:
    """How far apart the centres of two discs must be [mm]."""
    return (one.diameter_mm + other.diameter_mm) / 2 + max(one.gap_mm, other.gap_mm)


def _legs(long: float, leg: float) -> Iterable[float]:
    rest = long * long - leg * leg
    return () if rest < 0 else (-math.sqrt(rest), math.sqrt(rest))


def _meeting(one: Place, reach: float, other: Place, reach_other: float) -> Iterator[Place]:
    """Where two circles meet."""
    x, y = other[0] - one[0], other[1] - one[1]
    apart = math.hypot(x, y)
    if apart == 0 or apart > reach + reach_other:
        return
    along = (apart * apart + reach * reach - reach_other * reach_other) / (2 * apart)
    for away in _legs(reach, along):
        yield one[0] + (along * x - away * y) / apart, one[1] + (along * y + away * x) / apart


def _refuse_impossible(plate: Plate, wanted: Sequence[Wanted]) -> None:
    for want in wanted:
        if not want.diameter_mm > 0:
            raise SizeImpossible("disc diameter", want.diameter_mm, "above 0 mm")
        if not want.gap_mm >= 0:
            raise SizeImpossible("gap between discs", want.gap_mm, "0 mm or more")
    if not plate.edge_margin_mm >= 0:
        raise SizeImpossible("edge margin", plate.edge_margin_mm, "0 mm or more")
