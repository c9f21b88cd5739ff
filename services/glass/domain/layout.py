"""How equal discs lie in a plate at the best that is known here: plain rows, rows of other kinds, then a search for one disc more.

A plate is measured from its lower left corner. The edge margin goes off all round; discs lie whole within what is left; two
discs are a gap apart; at the margin no gap is needed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from services.glass.domain.packing import HAIR_MM, Centre, RowPattern, best_rows, disc_centres
from services.glass.domain.packing_regions import Oblong, Region
from services.glass.domain.packing_search import QUICK, Effort, find_places, oler_surplus
from services.glass.domain.row_families import best_family
from services.glass.errors import SizeImpossible

Pattern = RowPattern | Literal["rows_along_length", "rows_along_width", "searched", "mixed", "round", "single"]

SEARCH_UP_TO = 30
"""Discs in a plate up to which one more is searched for; beyond, rows leave little and a search takes long."""
KEY_MM = 1e-6
"""To what a size is rounded, to the safe side, before a layout is looked up among those known [mm]."""
KNOWN_LAYOUTS = 4096


@dataclass(frozen=True)
class Disc:
    """A disc to be cored: its centre in the plate, its diameter, the gap it keeps from any other, and the element it is for."""

    x_mm: float
    y_mm: float
    diameter_mm: float
    gap_mm: float
    owner: str = ""


@dataclass(frozen=True)
class Layout:
    """Discs in a plate; a round one has its diameter for length and width."""

    length_mm: float
    width_mm: float
    edge_margin_mm: float
    pattern: Pattern
    discs: tuple[Disc, ...]
    is_round: bool = False

    @property
    def plate_area_mm2(self) -> float:
        return self.length_mm * self.width_mm * (math.pi / 4 if self.is_round else 1.0)

    @property
    def disc_area_mm2(self) -> float:
        return math.fsum(math.pi * disc.diameter_mm**2 / 4 for disc in self.discs)

    def count_of(self, owner: str) -> int:
        """Number of discs for one element."""
        return sum(disc.owner == owner for disc in self.discs)


def best_layout(
    *,
    length_mm: float,
    width_mm: float,
    diameter_mm: float,
    gap_mm: float,
    edge_margin_mm: float = 0.0,
    owner: str = "",
    search: bool = True,
) -> Layout:
    """As many equal discs as are known to fit in a plate; never fewer than the best plain rows give. None fits: no discs, square.

    Raises `SizeImpossible` for a disc of zero or less, or a negative gap or margin.
    Notes: deterministic. Layouts are remembered by plate, disc and gap, rounded to the safe side by 1e-6 mm. Without `search`
    rows of every kind are all that is tried.
    """
    pattern, centres = _known_places(
        *room_of(length_mm, width_mm, diameter_mm, gap_mm, edge_margin_mm), rounded_up_mm(max(diameter_mm + gap_mm, KEY_MM)), search
    )
    off = edge_margin_mm + diameter_mm / 2
    discs = tuple(Disc(off + centre.x_mm, off + centre.y_mm, diameter_mm, gap_mm, owner) for centre in centres)
    return Layout(length_mm, width_mm, edge_margin_mm, pattern, discs)


def disc_capacity(
    *, length_mm: float, width_mm: float, diameter_mm: float, gap_mm: float, edge_margin_mm: float = 0.0
) -> tuple[int, Pattern]:
    """How many discs `best_layout` gives, and how they lie, without building it. Raises like it."""
    room = room_of(length_mm, width_mm, diameter_mm, gap_mm, edge_margin_mm)
    pattern, centres = _known_places(*room, rounded_up_mm(max(diameter_mm + gap_mm, KEY_MM)), True)
    return len(centres), pattern


def forget_layouts() -> None:
    """Forget every layout known, as when the process started."""
    _known_places.cache_clear()


def known_layouts() -> int:
    """How many layouts are remembered."""
    return _known_places.cache_info().currsize


def searched_places(
    *, least: int, room_length_mm: float, room_width_mm: float, pitch_mm: float, effort: Effort = QUICK
) -> tuple[Centre, ...]:
    """Centres of at least so many discs, and of one more as long as the search finds it; empty where it does not find the first."""
    long, short = max(room_length_mm, room_width_mm), min(room_length_mm, room_width_mm)
    region = Oblong(long / pitch_mm, short / pitch_mm)
    found: tuple[Centre, ...] = ()
    for count in range(least, SEARCH_UP_TO + 1):
        if not worth_searching(count=count, region=region):
            break
        points = find_places(count=count, region=region, effort=effort, seed=count)
        if points is None:
            break
        across, up = (points + region.corner).T * pitch_mm
        pairs = sorted(zip(across.tolist(), up.tolist(), strict=True))
        found = tuple(Centre(x, y) if room_length_mm >= room_width_mm else Centre(y, x) for x, y in pairs)
    return found


def worth_searching(*, count: int, region: Region) -> bool:
    """Whether the region is so roomy for a count that a search may find places.

    Notes: 0.75 + 0.05 N or more below the bound of Oler. No proof: of 200 plates by chance 115 were spared a search, and a long
    search filled none of those.
    """
    return oler_surplus(count=count, region=region) >= 0.75 + 0.05 * count


@lru_cache(maxsize=KNOWN_LAYOUTS)
def _known_places(room_length: float, room_width: float, pitch: float, search: bool) -> tuple[Pattern, tuple[Centre, ...]]:
    """Centres measured from the corner of the rectangle that they may lie in."""
    if min(room_length, room_width) < 0:
        return "square", ()
    rows = best_rows(length_mm=room_length + pitch, width_mm=room_width + pitch, diameter_mm=pitch, gap_mm=0.0)
    family = best_family(room_length_mm=room_length, room_width_mm=room_width, pitch_mm=pitch)
    pattern: Pattern = rows.pattern
    most = rows.discs
    if family is not None and family.discs > most:
        pattern, most = ("rows_along_length" if family.along_length else "rows_along_width"), family.discs
    if search:
        found = searched_places(least=most + 1, room_length_mm=room_length, room_width_mm=room_width, pitch_mm=pitch)
        if found:
            return "searched", found
    if family is not None and family.discs > rows.discs:
        return pattern, family.centres(pitch)
    plain = disc_centres(
        pattern=rows.pattern, length_mm=room_length + pitch, width_mm=room_width + pitch, diameter_mm=pitch, gap_mm=0.0
    )
    return pattern, tuple(Centre(centre.x_mm - pitch / 2, centre.y_mm - pitch / 2) for centre in plain)


def room_of(length: float, width: float, diameter: float, gap: float, margin: float) -> tuple[float, float]:
    """Sides of the rectangle in which centres may lie, rounded down; negative where no disc fits."""
    _refuse_impossible(diameter, gap, margin)
    return _down(length - 2 * margin - diameter), _down(width - 2 * margin - diameter)


def _down(size: float) -> float:
    return math.floor((size + HAIR_MM) / KEY_MM) * KEY_MM


def rounded_up_mm(size: float) -> float:
    """A size [mm] rounded up to what layouts are remembered by."""
    return math.ceil((size - HAIR_MM) / KEY_MM) * KEY_MM


def _refuse_impossible(diameter_mm: float, gap_mm: float, margin_mm: float) -> None:
    if not diameter_mm > 0:
        raise SizeImpossible("disc diameter", diameter_mm, "above 0 mm")
    for what, size in (("gap between discs", gap_mm), ("edge margin", margin_mm)):
        if not size >= 0:
            raise SizeImpossible(what, size, "0 mm or more")
