"""How equal discs lie in a round slice of a sawn disc: lattices and rings about the middle, then a search for one disc more."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from services.glass.domain.layout import KEY_MM, Disc, Layout, room_of, rounded_up_mm
from services.shop.layout.discs_in_plate import KNOWN_LAYOUTS, SEARCH_UP_TO, worth_searching
from services.shop.layout.regions import Points, Round
from services.shop.layout.rows import HAIR_MM, Centre
from services.shop.layout.search import QUICK, find_places
from services.shop.layout.starts import lattices


def best_round_layout(
    *, slice_mm: float, diameter_mm: float, gap_mm: float, edge_margin_mm: float = 0.0, owner: str = ""
) -> Layout:
    """As many equal discs as are known to come out of a round slice of a diameter [mm]; places from the corner of the square around it.

    Raises `SizeImpossible` for a disc of zero or less, or a negative gap or margin.
    Notes: deterministic, and remembered like the layouts of plates. A slice that has room for one disc, but not for a cut
    around it, gives that one: it is ground down to the size.
    """
    places = _places(slice_mm, diameter_mm, gap_mm, edge_margin_mm)
    discs = tuple(Disc(slice_mm / 2 + place.x_mm, slice_mm / 2 + place.y_mm, diameter_mm, gap_mm, owner) for place in places)
    return Layout(slice_mm, slice_mm, edge_margin_mm, "single" if len(discs) == 1 else "round", discs, is_round=True)


def round_capacity(*, slice_mm: float, diameter_mm: float, gap_mm: float, edge_margin_mm: float = 0.0) -> int:
    """How many discs `best_round_layout` gives, without building it. Raises like it."""
    return len(_places(slice_mm, diameter_mm, gap_mm, edge_margin_mm))


def forget_round_layouts() -> None:
    """Forget every layout known, as when the process started."""
    _known_places.cache_clear()


def _places(slice_mm: float, diameter_mm: float, gap_mm: float, edge_margin_mm: float) -> tuple[Centre, ...]:
    room, _ = room_of(slice_mm, slice_mm, diameter_mm, gap_mm, edge_margin_mm)
    if room < 0:
        return (Centre(0.0, 0.0),) if slice_mm >= diameter_mm - HAIR_MM else ()
    return _known_places(room / 2, rounded_up_mm(max(diameter_mm + gap_mm, KEY_MM)))


@lru_cache(maxsize=KNOWN_LAYOUTS)
def _known_places(radius_mm: float, pitch_mm: float) -> tuple[Centre, ...]:
    """Centres measured from the middle; they may lie within `radius_mm` of it."""
    region = Round(radius_mm / pitch_mm)
    best = max((_within(points, region) for points in (*lattices(region.radius), _rings(region.radius))), key=len)
    for count in range(len(best) + 1, SEARCH_UP_TO + 1):
        found = (
            find_places(count=count, region=region, effort=QUICK, seed=count)
            if worth_searching(count=count, region=region)
            else None
        )
        if found is None:
            break
        best = found
    return tuple(Centre(x, y) for x, y in sorted(map(tuple, (best * pitch_mm).tolist())))


def _within(points: Points, region: Round) -> Points:
    kept: Points = points[np.hypot(points[:, 0], points[:, 1]) <= region.radius + HAIR_MM]
    return kept


def _rings(radius: float) -> Points:
    """Rings one pitch apart from the rim inwards, each as full as a chord of one pitch allows."""
    parts = []
    out = radius
    while out >= 0.5:
        seats = math.floor(math.pi / math.asin(0.5 / out) + HAIR_MM)
        turn = 2 * math.pi * np.arange(seats) / seats
        parts.append(out * np.column_stack([np.cos(turn), np.sin(turn)]))
        out -= 1.0
    if out >= 0 or not parts:
        parts.append(np.zeros((1, 2)))
    return np.concatenate(parts)
