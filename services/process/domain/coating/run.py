"""A coating run: how long it takes, part by part, how many lenses share it, and the line of the route card."""

from __future__ import annotations

from functools import lru_cache

from services.optics.dispersion import Dispersion
from services.process.domain.coating.promise import Asked, promise_of
from services.process.domain.route.lines import SAME_ROW, Line, line, of_same_row
from services.shop.layout.circles_in_circle import CirclesInCircle, circles_in_circle
from shared_schemas.figure import Figure
from shared_schemas.operations import Face
from shared_schemas.rates import CoatingLayer, CoatingRow, GlassRow, Rates


def layer_min(layer: CoatingLayer) -> float:
    """Minutes that a layer takes at its rate."""
    return layer.thickness_nm / layer.rate_nm_per_s / 60


def deposition_min(row: CoatingRow) -> float:
    """Minutes that the layers take at their rates, one after the other."""
    return sum(layer_min(layer) for layer in row.layers)


def cycle_min(row: CoatingRow) -> float:
    """Minutes of a whole run: load, pump, heat, layers, cool, vent, unload."""
    return row.load_min + row.pump_min + row.heat_min + deposition_min(row) + row.cool_min + row.vent_min + row.unload_min


def seats_in_calotte(row: CoatingRow, *, diameter_mm: float) -> CirclesInCircle:
    """Seats of diameter and rim in one calotte, which is taken as flat: a dome has no less room."""
    return circles_in_circle(ratio=row.calotte_diameter_mm / (diameter_mm + row.seat_rim_mm))


def seats(row: CoatingRow, *, diameter_mm: float) -> int:
    """Lenses in a run: the seats of every calotte, less one for each witness piece; 0 when not one is left."""
    return max(seats_in_calotte(row, diameter_mm=diameter_mm).count * row.calottes - row.witness_pieces, 0)


def coat(row: CoatingRow, *, face: Face, asked: Asked, glass: GlassRow, diameter_mm: float, rates: Rates) -> Line:
    """One face coated. A piece goes through the chamber once for each face; other lenses of that coating may share the run."""
    size = seats(row, diameter_mm=diameter_mm)

    def why() -> tuple[Figure, ...]:
        return run_figure(row), *promise_figures(row, asked, Dispersion(glass), glass.name)

    def why_seats() -> Figure:
        packing = seats_in_calotte(row, diameter_mm=diameter_mm)
        inputs = (
            Figure(
                name="seats in a calotte", value=packing.count, source=packing.pattern,
                formula="circles of diameter + seat_rim_mm in a circle of calotte_diameter_mm",
                inputs=(
                    Figure(name="diameter", value=diameter_mm, unit="mm", source="the prescription"),
                    of_same_row("seat_rim_mm", row.seat_rim_mm, "mm"),
                    of_same_row("calotte_diameter_mm", row.calotte_diameter_mm, "mm"),
                ),
            ),
            of_same_row("calottes", row.calottes),
            of_same_row("witness_pieces", row.witness_pieces),
        )  # fmt: skip
        formula = "calottes x seats in a calotte - witness_pieces"
        return Figure(name="batch_size", value=size, formula=formula, inputs=inputs, rate_row=Rates.ref("coatings", row))

    return line(
        "coat", rates, face=face, batch_size=max(size, 1), run_min=cycle_min(row), consumables=row.run_consumables,
        shared_run=f"coat {row.name}", run_basis=why, batch_basis=why_seats,
    )  # fmt: skip


@lru_cache(maxsize=256)
def run_figure(row: CoatingRow) -> Figure:
    """The minutes of a run, from its parts."""
    parts = {"pump": row.pump_min, "heat": row.heat_min}, {"cool": row.cool_min, "vent": row.vent_min, "unload": row.unload_min}
    before, after = (tuple(of_same_row(name, minutes, "min") for name, minutes in some.items()) for some in parts)
    layers = Figure(
        name="layers", value=deposition_min(row), unit="min", formula="sum of the inputs", source=SAME_ROW,
        inputs=tuple(
            Figure(
                name=f"layer {number} {layer.material}"[:60], value=layer_min(layer), unit="min", formula="thickness / rate / 60",
                inputs=(
                    of_same_row("thickness", layer.thickness_nm, "nm"),
                    of_same_row("rate", layer.rate_nm_per_s, "nm/s"),
                ),
            )
            for number, layer in enumerate(row.layers, start=1)
        ),
    )  # fmt: skip
    return Figure(
        name="run", value=cycle_min(row), unit="min", formula="load + pump + heat + layers + cool + vent + unload",
        inputs=(of_same_row("load", row.load_min, "min"), *before, layers, *after), rate_row=Rates.ref("coatings", row),
    )  # fmt: skip


@lru_cache(maxsize=4096)
def promise_figures(row: CoatingRow, asked: Asked, glass: Dispersion, glass_name: str) -> tuple[Figure, ...]:
    """Mean and worst reflectance that the coating leaves on the glass; none where the glass has no stated index."""
    left = promise_of(row, asked, glass)
    if left is None:
        return ()
    index = Figure(
        name="index of the glass", value=glass_name, source="rate table glasses",
        formula="A + B / L^2 through nd and vd" if glass.fitted else "n^2 - 1 = sum B L^2 / (L^2 - C)",
    )  # fmt: skip
    formula = f"characteristic matrix of {row.name} in air {asked}, mean of both polarisations"
    return (
        Figure(name="mean reflectance", value=left.mean, formula=formula, inputs=(index,)),
        Figure(name="worst reflectance", value=left.worst, formula=f"{formula}; at {left.worst_at_nm:g} nm"),
    )
