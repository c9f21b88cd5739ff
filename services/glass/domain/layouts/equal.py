"""How equal discs lie in a plate or in a round slice, as a shop measures it: with margins, gaps and places to cut at.

A plate is measured from its lower left corner. The edge margin goes off all round; discs lie whole within what is left; two
discs are a gap apart; at the margin no gap is needed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from services.glass.errors import SizeImpossible
from services.shop.layout.circles_in_circle import CirclesInCircle, circles_in_circle
from services.shop.layout.discs_in_plate import PlatePattern, discs_in_plate
from services.shop.layout.room import pitch_mm, room_mm
from services.shop.layout.rows import HAIR_MM, Centre

Pattern = PlatePattern | Literal["mixed", "round", "single"]


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
    pattern, centres = _places(length_mm, width_mm, diameter_mm, gap_mm, edge_margin_mm, search=search)
    off = edge_margin_mm + diameter_mm / 2
    discs = tuple(Disc(off + centre.x_mm, off + centre.y_mm, diameter_mm, gap_mm, owner) for centre in centres)
    return Layout(length_mm, width_mm, edge_margin_mm, pattern, discs)


def disc_capacity(
    *, length_mm: float, width_mm: float, diameter_mm: float, gap_mm: float, edge_margin_mm: float = 0.0
) -> tuple[int, Pattern]:
    """How many discs `best_layout` gives, and how they lie, without building it. Raises like it."""
    pattern, centres = _places(length_mm, width_mm, diameter_mm, gap_mm, edge_margin_mm)
    return len(centres), pattern


def best_round_layout(
    *, slice_mm: float, diameter_mm: float, gap_mm: float, edge_margin_mm: float = 0.0, owner: str = ""
) -> Layout:
    """As many equal discs as are known to come out of a round slice of a diameter [mm]; places from the corner of the square around it.

    Raises `SizeImpossible` for a disc of zero or less, or a negative gap or margin.
    Notes: deterministic, and remembered. A slice that has room for one disc, but not for a cut
    around it, gives that one: it is ground down to the size.
    """
    places = _places_in_slice(slice_mm, diameter_mm, gap_mm, edge_margin_mm)
    discs = tuple(Disc(slice_mm / 2 + x, slice_mm / 2 + y, diameter_mm, gap_mm, owner) for x, y in places)
    return Layout(slice_mm, slice_mm, edge_margin_mm, "single" if len(discs) == 1 else "round", discs, is_round=True)


def round_capacity(*, slice_mm: float, diameter_mm: float, gap_mm: float, edge_margin_mm: float = 0.0) -> int:
    """How many discs `best_round_layout` gives, without building it. Raises like it."""
    circles = _circles_in_slice(slice_mm, diameter_mm, gap_mm, edge_margin_mm)
    return circles.count or int(slice_mm >= diameter_mm - HAIR_MM)


def _places_in_slice(slice_mm: float, diameter_mm: float, gap_mm: float, edge_margin_mm: float) -> list[tuple[float, float]]:
    """Centres measured from the middle [mm]."""
    circles = _circles_in_slice(slice_mm, diameter_mm, gap_mm, edge_margin_mm)
    if not circles.count:
        return [(0.0, 0.0)] if slice_mm >= diameter_mm - HAIR_MM else []
    return [(x, y) for x, y in (circles.centres * pitch_mm(diameter_mm=diameter_mm, gap_mm=gap_mm)).tolist()]


def _circles_in_slice(slice_mm: float, diameter_mm: float, gap_mm: float, edge_margin_mm: float) -> CirclesInCircle:
    """Discs with their gap in the slice less its margin, which need no gap at the rim."""
    room, _ = room_of(slice_mm, slice_mm, diameter_mm, gap_mm, edge_margin_mm)
    return circles_in_circle(ratio=room / pitch_mm(diameter_mm=diameter_mm, gap_mm=gap_mm) + 1)


def _places(
    length_mm: float, width_mm: float, diameter_mm: float, gap_mm: float, edge_margin_mm: float, *, search: bool = True
) -> tuple[PlatePattern, tuple[Centre, ...]]:
    length, width = room_of(length_mm, width_mm, diameter_mm, gap_mm, edge_margin_mm)
    return discs_in_plate(
        room_length_mm=length, room_width_mm=width, pitch_mm=pitch_mm(diameter_mm=diameter_mm, gap_mm=gap_mm), search=search
    )


def room_of(length: float, width: float, diameter: float, gap: float, margin: float) -> tuple[float, float]:
    """Sides of the rectangle in which centres may lie, rounded down; negative where no disc fits."""
    _refuse_impossible(diameter, gap, margin)
    along, across = (room_mm(side_mm=side, diameter_mm=diameter, margin_mm=margin) for side in (length, width))
    return along, across


def _refuse_impossible(diameter_mm: float, gap_mm: float, margin_mm: float) -> None:
    if not diameter_mm > 0:
        raise SizeImpossible("disc diameter", diameter_mm, "above 0 mm")
    for what, size in (("gap between discs", gap_mm), ("edge margin", margin_mm)):
        if not size >= 0:
            raise SizeImpossible(what, size, "0 mm or more")
