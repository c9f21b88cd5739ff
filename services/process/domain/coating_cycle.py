"""A coating run: how long it takes, how many lenses share it, what it leaves of the reflection."""

from __future__ import annotations

import numpy as np

from services.process.domain.blocks import lenses_on_flat_block
from services.process.domain.element_work import ElementWork, FaceWork
from services.process.domain.operation_lines import SAME_ROW, Line, line
from services.process.domain.thin_film import reflectance
from shared_schemas.figure import Figure
from shared_schemas.rates import CoatingRow, Rates


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


def residual_reflectance(row: CoatingRow, *, substrate_index: float) -> float:
    """What the coating leaves of the reflection of one face at its design wavelength and normal incidence, 0 to 1."""
    found = reflectance(
        indices=[layer.index for layer in row.layers],
        thicknesses_nm=[layer.thickness_nm for layer in row.layers],
        substrate_index=substrate_index,
        wavelengths_nm=np.array([row.design_wavelength_nm]),
    )
    return float(found[0])


def coat(work: ElementWork, face: FaceWork, coating: str, rates: Rates) -> Line:
    """One face coated in a run of its own: two coated faces are two runs."""
    row = rates.coating(coating)
    size = seats(row, diameter_mm=work.diameter_mm)
    minutes = cycle_min(row)

    def why() -> tuple[Figure, ...]:
        ref = Rates.ref("coatings", row)
        layers = Figure(name="layers", value=deposition_min(row), unit="min", formula="sum of thickness / rate", source=SAME_ROW)
        formula = "load + pump + heat + layers + cool + vent + unload"
        run = Figure(name="run", value=minutes, unit="min", formula=formula, inputs=(layers,), rate_row=ref)
        index = Figure(name="index of the glass", value=work.refractive_index, source="the check report")
        left = Figure(
            name="reflectance", value=residual_reflectance(row, substrate_index=work.refractive_index), inputs=(index,),
            formula=f"characteristic matrix of {coating} at {row.design_wavelength_nm:g} nm, normal incidence",
        )  # fmt: skip
        return run, left

    def why_seats() -> Figure:
        formula = "calottes x circles of diameter + rim in a calotte - witness pieces"
        return Figure(name="batch_size", value=size, formula=formula, rate_row=Rates.ref("coatings", row))

    return line(
        "coat", rates, face=face.face, batch_size=max(size, 1), run_min=minutes, consumables=row.run_consumables,
        run_basis=why, batch_basis=why_seats,
    )  # fmt: skip
