"""Plates to lay: new, with a search for one disc more, and known; shared by two elements; and with more and more discs."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from itertools import count

from services.glass.domain.layouts.equal import best_layout
from services.glass.domain.layouts.mixed import Plate, Wanted, mixed_layout
from services.shop.layout.discs_in_plate import forget_plates

LAID = (50, 500, 5000)
"""Discs in the plates whose growth in time is shown."""


def plates_to_lay() -> dict[str, Callable[[], object]]:
    """Work by the name of its line in the table."""
    work: dict[str, Callable[[], object]] = {
        "lay a plate of 46 discs, new": partial(_laid, 298.0, 198.0, 32.0),
        "lay a plate of 21 discs, new, one found by search": partial(_laid, 172.9, 109.3, 26.0),
        "lay a plate of 21 discs, known": partial(_laid, 172.9, 109.3, 26.0, new=False),
        "lay a plate that two elements share, new": partial(_shared, count()),
    }
    for discs in LAID:
        side = math.sqrt(discs * 13.8**2 * 0.87)
        work[f"lay a plate of about {discs} discs, new"] = partial(_laid, side, side, 10.0)
    return work


def _laid(length: float, width: float, diameter: float, *, new: bool = True) -> None:
    if new:
        forget_plates()
    best_layout(length_mm=length, width_mm=width, diameter_mm=diameter, gap_mm=3.8, edge_margin_mm=1.0)


def _shared(turns: count[int]) -> None:
    """A diameter a hair larger every time, so that the plate is new."""
    forget_plates()
    small = Wanted("L2", 20.0 + next(turns) * 1e-4, 3.0, 60)
    mixed_layout(plate=Plate(156.0, 156.0, 1.0), wanted=[Wanted("L1", 54.0, 3.8, 5), small])
