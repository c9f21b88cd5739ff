"""A coating run: how long it takes, part by part, how many lenses share it, and the line of the route card."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from services.optics.dispersion import Dispersion
from services.optics.law import decided, figure_of, given, law
from services.process.domain.coating.promise import Asked, promise_of, stack_of
from services.process.domain.route.lines import Line, Minutes, Spent, Work, line, minutes_in_all
from services.process.domain.route.work_centres import COMPARED_PIECES, Choice, choose_centre
from services.shop.layout.circles_in_circle import CirclesInCircle, circles_in_circle
from shared_schemas.base import NonNegative
from shared_schemas.figure import Figure, RateRowRef
from shared_schemas.operations import Face
from shared_schemas.rates import CoatingRow, GlassRow, RateRow, Rates


@law
def layer_min(*, thickness_nm: float, rate_nm_per_s: float) -> float:
    """Minutes [min] that a layer takes at its rate.

    Equation: thickness_nm / rate_nm_per_s / 60
    """
    return thickness_nm / rate_nm_per_s / 60


@law
def coating_run_min(
    *, load_min: float, pump_min: float, heat_min: float, layers_min: float, cool_min: float, vent_min: float, unload_min: float
) -> float:
    """Minutes [min] of a whole run.

    Equation: load_min + pump_min + heat_min + layers_min + cool_min + vent_min + unload_min
    """
    return load_min + pump_min + heat_min + layers_min + cool_min + vent_min + unload_min


@law
def calotte_ratio(*, calotte_diameter_mm: float, diameter_mm: float, seat_rim_mm: float) -> float:
    """Diameter of a calotte over that of a seat, which is the lens with a rim.

    Equation: calotte_diameter_mm / (diameter_mm + seat_rim_mm)
    """
    return calotte_diameter_mm / (diameter_mm + seat_rim_mm)


@law
def lenses_in_run(*, seats_in_calotte: int, calottes: int, witness_pieces: int) -> int:
    """Lenses in a run: the seats of every calotte, less one for each witness piece; 0 when not one is left.

    Equation: max(seats_in_calotte * calottes - witness_pieces, 0)
    """
    return max(seats_in_calotte * calottes - witness_pieces, 0)


@law
def trial_layers_min(*, parts_min: Sequence[float], least_min: float) -> float:
    """Minutes [min] of the layers of a stack not coated before: no less than the longest stack that the shop knows takes.

    Equation: max(sum(parts_min), least_min)
    """
    return max(sum(parts_min), least_min)


class DesignedRow(CoatingRow):
    """A coating that no row has: the layers of a design to be tried, in the run of the row `run_of`, which takes `least_layers_min`."""

    run_of: RateRow
    least_layers_min: NonNegative

    def named_in(self, table: str) -> RateRowRef:
        """The row whose run it is coated in."""
        return self.run_of.named_in(table)


def deposition_min(row: CoatingRow) -> float:
    """Minutes that the layers take at their rates, one after the other."""
    parts = [layer_min(thickness_nm=layer.thickness_nm, rate_nm_per_s=layer.rate_nm_per_s) for layer in row.layers]
    if isinstance(row, DesignedRow):
        return trial_layers_min(parts_min=parts, least_min=row.least_layers_min)
    return minutes_in_all(parts_min=parts)


def cycle_min(row: CoatingRow) -> float:
    """Minutes of a whole run: load, pump, heat, layers, cool, vent, unload."""
    return coating_run_min(
        load_min=row.load_min, pump_min=row.pump_min, heat_min=row.heat_min, layers_min=deposition_min(row), cool_min=row.cool_min,
        vent_min=row.vent_min, unload_min=row.unload_min,
    )  # fmt: skip


def seats_in_calotte(row: CoatingRow, *, diameter_mm: float) -> CirclesInCircle:
    """Seats of diameter and rim in one calotte, which is taken as flat: a dome has no less room."""
    ratio = calotte_ratio(calotte_diameter_mm=row.calotte_diameter_mm, diameter_mm=diameter_mm, seat_rim_mm=row.seat_rim_mm)
    return circles_in_circle(ratio=ratio)


def seats(row: CoatingRow, *, diameter_mm: float) -> int:
    """Lenses in a run of a coating."""
    in_calotte = seats_in_calotte(row, diameter_mm=diameter_mm).count
    return lenses_in_run(seats_in_calotte=in_calotte, calottes=row.calottes, witness_pieces=row.witness_pieces)


@dataclass(frozen=True)
class Coated:
    """A face to be coated: which one of a lens of which glass and diameter, where its coating is to work, where the lens is drawn.

    `choice` writes the figure that says why it has that coating, where the shop chose it.
    """

    face: Face
    asked: Asked
    glass: GlassRow
    diameter_mm: float
    where: str
    choice: Callable[[], Figure] | None = None


def chamber_for(row: CoatingRow, rates: Rates) -> Choice:
    """The chamber that runs a coating: told by the minutes of its runs, whatever size of lens is in them."""
    return choose_centre(rates, "coat", batch_min=cycle_min(row), batch_size=COMPARED_PIECES)


def run_name(row: CoatingRow, glass_name: str) -> str:
    """By what name faces share a run: the coating's, and the glass's where its layers are trimmed to the index."""
    return f"{row.name} on {glass_name}" if row.one_glass and not isinstance(row, DesignedRow) else row.name


def coat(row: CoatingRow, coated: Coated, rates: Rates) -> Line:
    """One face coated. A piece goes through the chamber once for each face; other lenses of that coating may share the run."""
    of_choice, glass = coated.choice, Dispersion(coated.glass)

    def remarks() -> tuple[Figure, ...]:
        promised = promise_figures(row, coated.asked, glass, coated.glass.name)
        return promised if of_choice is None else (of_choice(), *promised)

    work = Work(
        of_batch=Minutes(cycle_min(row), lambda: run_figure(row)),
        batch_size=max(seats(row, diameter_mm=coated.diameter_mm), 1),
        why_size=lambda: seats_figure(row, diameter_mm=coated.diameter_mm, where=coated.where),
        spent=(Spent(row.run_consumables, Rates.ref("coatings", row)),),
        run=run_name(row, coated.glass.name),
        remarks=remarks,
    )
    return line("coat", rates, work, face=coated.face, at=chamber_for(row, rates))


def seats_figure(row: CoatingRow, *, diameter_mm: float, where: str) -> Figure:
    """The lenses in a run, from calottes and packing; `where` is the element in the prescription."""
    ref, packing = Rates.ref("coatings", row), seats_in_calotte(row, diameter_mm=diameter_mm)
    ratio = figure_of(
        calotte_ratio, unit="", rate_row=ref, calotte_diameter_mm=given("calotte_diameter_mm", row.calotte_diameter_mm, "mm"),
        diameter_mm=given("diameter_mm", diameter_mm, "mm", at=f"/prescription{where}/diameter_mm"),
        seat_rim_mm=given("seat_rim_mm", row.seat_rim_mm, "mm"),
    )  # fmt: skip
    reason = f"seats in a circle of that ratio, layout found by search: {packing.pattern}"
    return figure_of(
        lenses_in_run, name="batch_size", unit="", rate_row=ref, calottes=given("calottes", row.calottes),
        seats_in_calotte=decided("seats_in_calotte", packing.count, reason, alternatives=[ratio]),
        witness_pieces=given("witness_pieces", row.witness_pieces),
    )  # fmt: skip


@lru_cache(maxsize=256)
def run_figure(row: CoatingRow) -> Figure:
    """The minutes of a run, from its parts."""
    ref = Rates.ref("coatings", row)
    layers = [
        figure_of(
            layer_min, name=f"layer {number} {layer.material}", unit="min", rate_row=ref,
            thickness_nm=given("thickness_nm", layer.thickness_nm, "nm"), rate_nm_per_s=given("rate_nm_per_s", layer.rate_nm_per_s, "nm/s"),
        )
        for number, layer in enumerate(row.layers, start=1)
    ]  # fmt: skip
    parts = {name: given(name, getattr(row, name), "min") for name in PARTS}
    if isinstance(row, DesignedRow):
        least = given("least_min", row.least_layers_min, "min")
        layers_min = figure_of(trial_layers_min, name="layers_min", unit="min", rate_row=ref, parts_min=layers, least_min=least)
    else:
        layers_min = figure_of(minutes_in_all, name="layers_min", unit="min", rate_row=ref, parts_min=layers)
    return figure_of(coating_run_min, name="run_min", unit="min", rate_row=ref, layers_min=layers_min, **parts)


PARTS = ("load_min", "pump_min", "heat_min", "cool_min", "vent_min", "unload_min")
"""Columns of a coating that are parts of its run."""


@lru_cache(maxsize=4096)
def promise_figures(row: CoatingRow, asked: Asked, glass: Dispersion, glass_name: str) -> tuple[Figure, ...]:
    """Mean, worst and, of a mirror, least reflectance of the coating on the glass; none where the glass has no stated index."""
    left = promise_of(row, asked, glass)
    if left is None:
        return ()
    index = "Cauchy's terms through nd and vd" if glass.fitted else "the dispersion formula of its row"
    method = f"characteristic matrix of {row.name} on {glass_name} ({index}) in air {asked}, mean of both polarisations"
    last = given("worst reflectance", left.worst, source=f"{method}; at {left.worst_at_nm:g} nm")
    if stack_of(row).absorbs:
        last = given("least reflectance", left.least, source=f"{method}; at {left.least_at_nm:g} nm")
    return given("mean reflectance", left.mean, source=method), last
