"""A coating run: how long it takes and how many lenses share it."""

from __future__ import annotations

from services.process.domain.blocks import lenses_on_flat_block
from shared_schemas.rates import CoatingRow


def deposition_min(row: CoatingRow) -> float:
    """Minutes that the layers take at their rates."""
    return sum(layer.thickness_nm / layer.rate_nm_per_s for layer in row.layers) / 60


def cycle_min(row: CoatingRow) -> float:
    """Minutes of a whole run: load, pump, heat, layers, cool, vent, unload."""
    return row.load_min + row.pump_min + row.heat_min + deposition_min(row) + row.cool_min + row.vent_min + row.unload_min


def seats(row: CoatingRow, *, diameter_mm: float) -> int:
    """Lenses in a run: seats of diameter and rim in every calotte, less the witness pieces; 0 when not one fits."""
    each = lenses_on_flat_block(block_mm=row.calotte_diameter_mm, pitch_mm=diameter_mm + row.seat_rim_mm)
    return max(each * row.calottes - row.witness_pieces, 0)
