"""In which rings does a shop lay lenses out on a block?"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

SLACK = 2e-8
"""Rounding, in angles of one lens, that a ring more or less must not hang on; on a 20 mm lens less than a nanometre of the gap."""

KEPT = 8
"""Beginnings of a block that are carried on after each ring."""

FEWER, MORE = 1, 4
"""A further ring is tried with so many lenses fewer than the fullest at the least angle, and with so many more."""

NEXT = 1.8
"""Half-widths of a lens from one ring to the next, at which the usual number of lenses is read."""

BEYOND = 0.85
"""Share of a lens's half-width that a ring is taken to shut off beyond its centres, since the next one nests."""

WHOLE_TURN = 2 * math.pi


class Ring(NamedTuple):
    """Lenses evenly spaced at one polar angle [rad]; the first stands at the longitude `phase_rad`."""

    lenses: int
    polar_rad: float
    phase_rad: float


@dataclass(frozen=True)
class Cap:
    """Where centres of lenses may lie: lenses of the angular radius `lens_rad`, up to `reach_rad` from the pole [rad]."""

    lens_rad: float
    reach_rad: float


@lru_cache(maxsize=4096)
def nested_rings(cap: Cap) -> tuple[Ring, ...]:
    """Rings turned against each other so that they nest; as many lenses as a narrow search over the number in each finds.

    Notes:
        Rings of n and m lenses, turned by half of 2 pi / lcm(n, m), come within pi / lcm(n, m) of longitude; the outer one then
        stands at the least t with cos t cos s + sin t sin s cos(pi / lcm) <= cos 2a and sin t >= sin a / sin(pi / n). The last ring
        goes out to the reach. The beginnings that use their part of the cap best are carried on.

    Source: derived.
    """
    if cap.reach_rad < -SLACK * cap.lens_rad:
        return ()
    beginnings = [(Ring(1, 0.0, 0.0),), *(_at_pole(cap, lenses) for lenses in (2, 3, 4, 5))]
    carried = [rings for rings in beginnings if rings and rings[-1].polar_rad <= cap.reach_rad + SLACK * cap.lens_rad]
    best = max(carried, key=lenses_of)
    narrowest = [_round_itself(cap, lenses) for lenses in range(1, _fullest(cap, cap.reach_rad) + 1)]
    while carried:
        further = [(*rings, ring) for rings in carried for ring in _next_rings(cap, rings, narrowest)]
        best = max([best, *further], key=lenses_of)
        further.sort(key=lambda rings: _use(cap, rings), reverse=True)
        carried = further[:KEPT]
    return best


def spaced_rings(cap: Cap) -> tuple[Ring, ...]:
    """The fullest of rings at equal distances, at least one lens apart, from 1 to 5 lenses at the pole out to the reach."""
    beginnings = [(Ring(1, 0.0, 0.0),), *(_at_pole(cap, lenses) for lenses in (2, 3, 4, 5))]
    reached = [rings[0] for rings in beginnings if rings and rings[0].polar_rad <= cap.reach_rad + SLACK * cap.lens_rad]
    return max((_spaced(cap, first) for first in reached), key=lenses_of, default=())


def _spaced(cap: Cap, first: Ring) -> tuple[Ring, ...]:
    further = math.floor((cap.reach_rad - first.polar_rad) / (2 * cap.lens_rad) + SLACK)
    step = (cap.reach_rad - first.polar_rad) / further if further else 0.0
    angles = (first.polar_rad + number * step for number in range(1, further + 1))
    return (first, *(Ring(_fullest(cap, polar), polar, 0.0) for polar in angles))


def lenses_of(rings: tuple[Ring, ...]) -> int:
    """Lenses in all the rings."""
    return sum(ring.lenses for ring in rings)


def _at_pole(cap: Cap, lenses: int) -> tuple[Ring, ...]:
    sine = math.sin(cap.lens_rad) / math.sin(math.pi / lenses)
    return (Ring(lenses, math.asin(sine), 0.0),) if sine <= 1 else ()


def _use(cap: Cap, rings: tuple[Ring, ...]) -> float:
    """Lenses for the area that the rings shut off, nearly half a lens beyond their last centres; rounded, as cosines differ between machines."""
    return round(lenses_of(rings) / (1 - math.cos(rings[-1].polar_rad + BEYOND * cap.lens_rad)), 9)


def _next_rings(cap: Cap, rings: tuple[Ring, ...], narrowest: list[float]) -> Iterator[Ring]:
    """Rings that nest outside the last: about as full as one usually is there, as full as the last, or as the reach lets one be.

    `narrowest` has the least angles of rings of 1, 2, … lenses by themselves, up to the fullest that the reach holds.
    """
    last = rings[-1]
    before = rings[-2] if len(rings) > 1 else None
    fullest = len(narrowest)
    usual = bisect_right(narrowest, min(last.polar_rad + NEXT * cap.lens_rad, cap.reach_rad))
    numbers = {last.lenses, *range(max(usual - FEWER, 2), usual + MORE + 1), fullest, fullest - 1}
    for lenses in sorted(number for number in numbers if 2 <= number <= fullest):
        turn, apart = _turned(last, lenses)
        polar = max(_least_polar(cap, last.polar_rad, apart), narrowest[lenses - 1])
        if before is not None and polar - before.polar_rad < 2 * cap.lens_rad:
            polar = max(polar, _least_polar(cap, before.polar_rad, _apart(before, lenses, turn)))
        if last.polar_rad < polar <= cap.reach_rad + SLACK * cap.lens_rad:
            yield Ring(lenses, min(polar, cap.reach_rad), turn)


def _fullest(cap: Cap, polar_rad: float) -> int:
    """Lenses that a ring at that angle holds by itself."""
    sine = math.sin(polar_rad)
    if sine < math.sin(cap.lens_rad) * (1 - SLACK):
        return 1
    return math.floor(math.pi / math.asin(min(math.sin(cap.lens_rad) / sine, 1.0)) + SLACK)


def _round_itself(cap: Cap, lenses: int) -> float:
    """Least polar angle at which so many lenses find room side by side in a ring."""
    return math.asin(min(math.sin(cap.lens_rad) / math.sin(math.pi / lenses), 1.0)) if lenses > 1 else 0.0


def _turned(last: Ring, lenses: int) -> tuple[float, float]:
    """Phase of a ring turned as far as can be from the lenses of the last, and the longitude that then parts the nearest two."""
    half = math.pi / math.lcm(last.lenses, lenses)
    return (last.phase_rad + half) % WHOLE_TURN, half


def _apart(ring: Ring, lenses: int, phase_rad: float) -> float:
    """Longitude between the nearest two of a ring and of another with that phase."""
    step = WHOLE_TURN / math.lcm(ring.lenses, lenses)
    off = (phase_rad - ring.phase_rad) % step
    return min(off, step - off)


def _least_polar(cap: Cap, inner_rad: float, apart_rad: float) -> float:
    """Least polar angle of a lens whose neighbour stands at the angle `inner_rad`, so much longitude away."""
    along, across = math.cos(inner_rad), math.sin(inner_rad) * math.cos(apart_rad)
    length = math.hypot(along, across)
    needed = math.cos(2 * cap.lens_rad)
    if needed >= length:
        return 0.0
    return math.atan2(across, along) + math.acos(max(needed / length, -1.0))
