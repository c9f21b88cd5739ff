"""What a coating costs a piece where a run is full: the one figure by which coatings that do the same are told apart."""

from __future__ import annotations

from services.optics.law import column, decided, figure_of, given, law
from services.process.domain.coating.run import DesignedRow, chamber_for, cycle_min, run_figure, seats, seats_figure
from services.shop.minutes import attended_min, minutes_cost
from shared_schemas.figure import Figure
from shared_schemas.rates import CoatingRow, Rates


@law
def full_run_cost(*, run_cost: float, run_consumables: float, lenses: int) -> float:
    """Cost of a piece in a run of a coating that is full.

    Equation: (run_cost + run_consumables) / lenses
    """
    return (run_cost + run_consumables) / lenses


@law
def whole_run_cost(*, run_cost: float, run_consumables: float) -> float:
    """Cost of a run of a coating, however many pieces are in it.

    Equation: run_cost + run_consumables
    """
    return run_cost + run_consumables


def cost_of_piece(row: CoatingRow, *, diameter_mm: float, rates: Rates) -> float:
    """Cost of a coating for each piece of a full run [currency of the rates].

    Notes: set-up, handling of pieces and losses are those of the chamber, whatever it coats, and so left out. It is the same at
    every quantity, so that what a face is coated with never depends on how many are asked for.
    """
    lenses = max(seats(row, diameter_mm=diameter_mm), 1)
    return full_run_cost(run_cost=_minutes_cost(row, rates), run_consumables=float(row.run_consumables), lenses=lenses)


def cost_of_run(row: CoatingRow, rates: Rates) -> float:
    """Cost of a whole run of a coating [currency of the rates]."""
    return whole_run_cost(run_cost=_minutes_cost(row, rates), run_consumables=float(row.run_consumables))


def _minutes_cost(row: CoatingRow, rates: Rates) -> float:
    centre, minutes = chamber_for(row, rates).row, cycle_min(row)
    return minutes_cost(
        machine_min=minutes,
        attended_min=attended_min(setup_min=0.0, run_min=minutes, attended_share=centre.attended_share),
        machine_rate_per_h=float(centre.machine_rate_per_h),
        labour_rate_per_h=float(centre.labour_rate_per_h),
    )


def cost_figure(row: CoatingRow, *, diameter_mm: float, where: str, rates: Rates) -> Figure:
    """The cost of a piece of a full run, from minutes, rates and seats."""
    centre = chamber_for(row, rates).row
    of_centre, ref = Rates.ref("work_centres", centre), Rates.ref("coatings", row)
    run = run_figure(row)
    attended = figure_of(
        attended_min, unit="min", setup_min=given("setup_min", 0.0, "min", source="borne by the lot, whatever it is coated with"),
        run_min=run, attended_share=column("attended_share", centre.attended_share, "", of_centre),
    )  # fmt: skip
    run_cost = figure_of(
        minutes_cost, name="run_cost", unit=rates.base_currency, machine_min=run, attended_min=attended,
        machine_rate_per_h=column("machine_rate_per_h", float(centre.machine_rate_per_h), "/h", of_centre),
        labour_rate_per_h=column("labour_rate_per_h", float(centre.labour_rate_per_h), "/h", of_centre),
    )  # fmt: skip
    return figure_of(
        full_run_cost, name=row.name, unit=rates.base_currency, rate_row=ref, run_cost=run_cost,
        run_consumables=column("run_consumables", float(row.run_consumables), rates.base_currency, ref),
        lenses=seats_figure(row, diameter_mm=diameter_mm, where=where),
    )  # fmt: skip


def choice_figure(row: CoatingRow, runner_up: str | None, *, asked: str, diameter_mm: float, where: str, rates: Rates) -> Figure:
    """Why a face has its coating: what a piece of it costs beside the next that does the same."""
    if isinstance(row, DesignedRow) and runner_up is None:
        return decided("coating", row.name, f"no coating of the rates has {asked}: a design to be tried")
    others = [row] if runner_up is None else [row, rates.coating(runner_up)]
    costs = [cost_figure(other, diameter_mm=diameter_mm, where=where, rates=rates) for other in others]
    why = "the only one"
    if runner_up is not None:
        why = f"the cheapest by the piece of a full run; the next is {runner_up}"
        own, other = (cost_of_piece(one, diameter_mm=diameter_mm, rates=rates) for one in others)
        if other < own:
            why = f"in a run that there is for other faces; {runner_up} would be cheaper by the piece, in a run of its own"
    return decided("coating", row.name, f"of the coatings that have {asked}, {why}", alternatives=costs)
