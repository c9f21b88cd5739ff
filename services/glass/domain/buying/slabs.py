"""How few slabs give so many plates of several thicknesses, and what depth stays unsawn."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import lru_cache
from typing import NamedTuple

from services.shop.layout.rows import HAIR_MM

Plates = tuple[int, ...]
Depths = tuple[float, ...]

PROVED_PLATES = 40
"""Up to this many plates a smaller number of slabs is searched for where filling does not reach the bound."""
NODES = 200
"""States of the search after which the filling is taken as it is."""


class Slabs(NamedTuple):
    """Number of slabs, and the depth [mm] left in the one with most left: the remnant."""

    number: int
    rest_mm: float


@lru_cache(maxsize=16384)
def slabs_needed(plates: Plates, depths: Depths, capacity_mm: float) -> Slabs:
    """Fewest slabs known for `plates` plates of each depth (thickness and cut, thickest first).

    Notes: thickest plates first, each in the first slab that has room; where that is more than no plan can beat, and the
    plates are few, slabs are filled in every way that could take one less.
    Source: first-fit decreasing and the area bound, textbook matter; the search is derived.
    """
    filled = _filled(plates, depths, capacity_mm)
    bound = slabs_at_least(plates, depths, capacity_mm)
    if filled.number == bound or sum(plates) > PROVED_PLATES:
        return filled
    search = _Search(depths, capacity_mm)
    number = filled.number
    while number > bound and search.fits(plates, number - 1):
        number -= 1
    if number == filled.number:
        return filled
    used = sum(count * depth for count, depth in zip(plates, depths, strict=True))
    return Slabs(number, max(0.0, capacity_mm - used / number))  # the mean: in no plan is the largest rest less


def slabs_at_least(plates: Plates, depths: Depths, capacity_mm: float) -> int:
    """No plan needs fewer slabs: by depth in all, by each thickness alone, by those of which no two go into a slab."""
    used = sum(count * depth for count, depth in zip(plates, depths, strict=True))
    alone = [math.ceil(count / per_slab(depth, capacity_mm)) for count, depth in zip(plates, depths, strict=True) if count]
    thick = sum(count for count, depth in zip(plates, depths, strict=True) if 2 * depth > capacity_mm + HAIR_MM)
    return max(math.ceil((used - HAIR_MM) / capacity_mm), thick, *alone, 0)


def per_slab(depth_mm: float, capacity_mm: float) -> int:
    """Plates of a depth in one slab."""
    return math.floor((capacity_mm + HAIR_MM) / depth_mm)


def _filled(plates: Plates, depths: Depths, capacity_mm: float) -> Slabs:
    """First fit, thickest first; slabs with the same depth left are kept together: [depth left, how many]."""
    open_slabs: list[tuple[float, int]] = []
    for count, depth in zip(plates, depths, strict=True):
        left_over, after = count, []
        for room, number in open_slabs:
            each = per_slab(depth, room)
            full = min(number, left_over // each) if each else 0
            if full:
                after.append((room - each * depth, full))
                left_over -= full * each
            if each and left_over and number > full:
                after.append((room - left_over * depth, 1))
                left_over, full = 0, full + 1
            if number > full:
                after.append((room, number - full))
        each = per_slab(depth, capacity_mm)
        if left_over >= each:
            after.append((capacity_mm - each * depth, left_over // each))
        if left_over % each:
            after.append((capacity_mm - left_over % each * depth, 1))
        open_slabs = after
    return Slabs(sum(number for _, number in open_slabs), max((room for room, _ in open_slabs), default=0.0))


class _Search:
    """Whether plates go into so many slabs: slab after slab, the thickest plate left goes into the next one."""

    def __init__(self, depths: Depths, capacity_mm: float) -> None:
        self.depths = depths
        self.capacity_mm = capacity_mm
        self.nodes = NODES
        self.failed: set[tuple[Plates, int]] = set()

    def fits(self, plates: Plates, slabs: int) -> bool:
        self.nodes -= 1
        if self.nodes < 0 or (plates, slabs) in self.failed or slabs_at_least(plates, self.depths, self.capacity_mm) > slabs:
            return False
        if _filled(plates, self.depths, self.capacity_mm).number <= slabs:
            return True
        for left in self._after_one_slab(plates):
            if self.fits(left, slabs - 1):
                return True
            if self.nodes < 0:
                return False
        self.failed.add((plates, slabs))
        return False

    def _after_one_slab(self, plates: Plates) -> Iterator[Plates]:
        """What is left when a slab has been filled, in every full way that takes the thickest."""
        first = next(place for place, count in enumerate(plates) if count)

        def filled(place: int, room: float, left: Plates) -> Iterator[Plates]:
            if place == len(plates):
                if all(not count or depth > room + HAIR_MM for count, depth in zip(left, self.depths, strict=True)):
                    yield left
                return
            most = min(left[place], per_slab(self.depths[place], room))
            for taken in range(most, 0 if place == first else -1, -1):
                changed = (*left[:place], left[place] - taken, *left[place + 1 :])
                yield from filled(place + 1, room - taken * self.depths[place], changed)

        yield from filled(first, self.capacity_mm, plates)
