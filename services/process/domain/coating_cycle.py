"""A coating run: how long it takes, part by part, and how many lenses share it."""

from __future__ import annotations

from services.shop.layout.circles_in_circle import Packing, circles_in_circle
from shared_schemas.rates import CoatingLayer, CoatingRow


def layer_min(layer: CoatingLayer) -> float:
    """Minutes that a layer takes at its rate."""
    return layer.thickness_nm / layer.rate_nm_per_s / 60


def deposition_min(row: CoatingRow) -> float:
    """Minutes that the layers take at their rates, one after the other."""
    return sum(layer_min(layer) for layer in row.layers)


def cycle_min(row: CoatingRow) -> float:
    """Minutes of a whole run: load, pump, heat, layers, cool, vent, unload."""
    return row.load_min + row.pump_min + row.heat_min + deposition_min(row) + row.cool_min + row.vent_min + row.unload_min


def seats_in_calotte(row: CoatingRow, *, diameter_mm: float) -> Packing:
    """Seats of diameter and rim in one calotte, which is taken as flat: a dome has no less room."""
    return circles_in_circle(ratio=row.calotte_diameter_mm / (diameter_mm + row.seat_rim_mm))


def seats(row: CoatingRow, *, diameter_mm: float) -> int:
    """Lenses in a run: the seats of every calotte, less one for each witness piece; 0 when not one is left."""
    return max(seats_in_calotte(row, diameter_mm=diameter_mm).circles * row.calottes - row.witness_pieces, 0)
