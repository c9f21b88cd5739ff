"""How many plates a slab gives, or slices a rod."""

from __future__ import annotations

import math

from services.glass.errors import SizeImpossible
from services.shop.layout.rows import HAIR_MM


def plates_of(*, depth_mm: float, plate_mm: float, kerf_mm: float, skin_mm: float) -> int:
    """Number of plates of a thickness [mm] sawn one behind the other out of a depth [mm].

    Raises `SizeImpossible` for a plate of zero or less, or a negative kerf or skin.
    Notes: floor((T - 2 skin + kerf) / (t + kerf)): between n plates lie n - 1 cuts; the skin goes off both ends.
    Source: derived.
    """
    if not plate_mm > 0:
        raise SizeImpossible("plate thickness", plate_mm, "above 0 mm")
    for what, size in (("saw kerf", kerf_mm), ("skin", skin_mm)):
        if not size >= 0:
            raise SizeImpossible(what, size, "0 mm or more")
    return max(0, math.floor((depth_mm - 2 * skin_mm + kerf_mm + HAIR_MM) / (plate_mm + kerf_mm)))
