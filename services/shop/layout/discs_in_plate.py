"""How equal discs lie in a plate at the best that is known here: plain rows, rows of other kinds, then a search for one disc more."""

from __future__ import annotations

from functools import lru_cache
from typing import Literal

from services.shop.layout.rectangle import Oblong
from services.shop.layout.rows import Centre, RowPattern, best_family, best_rows, disc_centres
from services.shop.layout.search import QUICK, Effort, find_places, oler_surplus

PlatePattern = RowPattern | Literal["rows_along_length", "rows_along_width", "searched"]

SEARCH_UP_TO = 30
"""Discs in a plate up to which one more is searched for; beyond, rows leave little and a search takes long."""

KNOWN_LAYOUTS = 4096


@lru_cache(maxsize=KNOWN_LAYOUTS)
def discs_in_plate(
    *, room_length_mm: float, room_width_mm: float, pitch_mm: float, search: bool = True
) -> tuple[PlatePattern, tuple[Centre, ...]]:
    """The fullest layout that is known here of discs a pitch apart, and where their centres lie [mm].

    Args:
        room_length_mm, room_width_mm: the rectangle that centres may lie in, the plate less a disc each way; negative where none fits [mm].
        pitch_mm: least distance of two centres, a diameter and a gap [mm].
        search: whether one disc more is searched for where rows hold few.

    Notes: deterministic and remembered. Centres are measured from the corner of the rectangle.
    """
    if min(room_length_mm, room_width_mm) < 0:
        return "square", ()
    rows = best_rows(length_mm=room_length_mm + pitch_mm, width_mm=room_width_mm + pitch_mm, diameter_mm=pitch_mm, gap_mm=0.0)
    family = best_family(room_length_mm=room_length_mm, room_width_mm=room_width_mm, pitch_mm=pitch_mm)
    pattern: PlatePattern = rows.pattern
    most = rows.discs
    if family is not None and family.discs > most:
        pattern, most = ("rows_along_length" if family.along_length else "rows_along_width"), family.discs
    if search:
        found = searched_places(least=most + 1, room_length_mm=room_length_mm, room_width_mm=room_width_mm, pitch_mm=pitch_mm)
        if found:
            return "searched", found
    if family is not None and family.discs > rows.discs:
        return pattern, family.centres(pitch_mm)
    plain = disc_centres(
        pattern=rows.pattern,
        length_mm=room_length_mm + pitch_mm,
        width_mm=room_width_mm + pitch_mm,
        diameter_mm=pitch_mm,
        gap_mm=0.0,
    )
    return pattern, tuple(Centre(centre.x_mm - pitch_mm / 2, centre.y_mm - pitch_mm / 2) for centre in plain)


def forget_plates() -> None:
    """Forget every layout known, as when the process started."""
    discs_in_plate.cache_clear()


def known_plates() -> int:
    """How many layouts are remembered."""
    return discs_in_plate.cache_info().currsize


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


def worth_searching(*, count: int, region: Oblong) -> bool:
    """Whether the region is so roomy for a count that a search may find places.

    Notes: 0.75 + 0.05 N or more below the bound of Oler. No proof: of 200 plates by chance 115 were spared a search, and a long
    search filled none of those.
    """
    return oler_surplus(count=count, region=region) >= 0.75 + 0.05 * count
